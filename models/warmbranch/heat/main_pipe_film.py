"""The main pipe's inner film where its skin temperature is given.

A given skin says how strong the film is in the running condition; with that film the wall can
follow other conditions.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.case.case import Case
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.main_pipe_wall import inner_film
from warmbranch.heat.outside import film_on_pipe
from warmbranch.heat.radiation import radiative_flux


def main_film(case: Case, gas: MixtureTable) -> tuple[FloatArray, BoolArray]:
    """Inner film of the main pipe over that of steady flow, and whether its wall is held instead.

    Where the skin temperature is given, the film that gives it in the running condition.
    """
    pipe, outside = case.main_pipe, case.surroundings
    given = pipe.skin_temperature
    known = ~np.isnan(given)
    if not np.any(known):
        return pipe.film_augmentation, known
    film = film_on_pipe(pipe, outside, dry_air_table())
    at = np.where(known, given, pipe.gas_temperature)[:, None]
    convection, _ = film.flux(at)
    radiation, _ = radiative_flux(
        at, outside.radiant_temperature[:, None], pipe.emissivity[:, None]
    )
    per_film = inner_film(pipe, gas) / pipe.film_augmentation * pipe.bore / pipe.outside_diameter
    drop = pipe.gas_temperature - at[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        needed = (convection + radiation)[:, 0] / drop / per_film
    usable = np.isfinite(needed) & (needed > 0)
    return np.where(known & usable, needed, pipe.film_augmentation), known & ~usable


def with_own_film(case: Case) -> Case:
    """The same case with the film that stands for a given skin, ready for other conditions."""
    film, held = main_film(case, MixtureTable.of(case.gas))
    pipe = case.main_pipe
    own = np.where(held, pipe.skin_temperature, np.nan)
    return replace(case, main_pipe=replace(pipe, film_augmentation=film, skin_temperature=own))
