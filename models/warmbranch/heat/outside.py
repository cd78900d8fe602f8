"""What leaves the skin along a branch, where its front and its rear may stand in other air."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.surroundings import Surroundings
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.films import OutsideFilm
from warmbranch.heat.radiation import radiative_flux


@dataclass(frozen=True)
class Outside:
    """Convection and radiation from the skins of a batch.

    A control volume that lies in both gives off by its shares of either, so that heat is conserved
    and the error is of second order wherever the place lies.

    Parameters
    ----------
    case : Case
    air : MixtureTable
        One mixture.
    x, width : (designs, nodes) array, m
        Of the nodes and their control volumes.
    skin_diameter : (designs,) or (designs, nodes) array, m
        Over the wrap.
    skin_area : (designs, nodes) array, m²
        The cap's included.
    """

    case: Case
    air: MixtureTable
    x: FloatArray
    width: FloatArray
    skin_diameter: FloatArray
    skin_area: FloatArray

    def flux(self, skin: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What leaves skins at (designs, nodes) temperatures, K.

        Returns
        -------
        flux : (designs, nodes) array, W/m²
        slope : (designs, nodes) array, W/(m² K)
        """
        front, front_slope = self._to(self._film, self.case.surroundings, skin)
        if self.rear_share is None:
            return front, front_slope
        share = self.rear_share
        rear, rear_slope = self._to(self._rear_film, self._rear, skin)
        return front + share * (rear - front), front_slope + share * (rear_slope - front_slope)

    @cached_property
    def rear_share(self) -> FloatArray | None:
        """Share of each ``skin_area`` that lies in the rear; None where all of all is front."""
        rear_from = self.case.surroundings.rear_from[:, None]
        in_rear = rear_from[:, 0] < self.x[:, -1]
        if not in_rear.any():
            return None
        # The cap goes with the rear; what else of a control volume does, by its length there.
        cap = np.zeros_like(self.skin_area)
        plate = self.case.branch.at_cap[0] + 2 * self.case.covering.wrap_thickness
        cap[:, -1] = np.pi / 4 * np.square(plate)
        begin = np.concatenate([self.x[:, :1], (self.x[:, 1:] + self.x[:, :-1]) / 2], axis=1)
        beyond = np.minimum(np.maximum(begin + self.width - rear_from, 0.0), self.width)
        area = (self.skin_area - cap) * (beyond / self.width) + np.where(in_rear[:, None], cap, 0.0)
        return area / self.skin_area

    @cached_property
    def _rear(self) -> Surroundings:
        return self.case.surroundings.rear

    @cached_property
    def _film(self) -> OutsideFilm:
        return film_in(self.case.surroundings, self.case, self.air, self.skin_diameter)

    @cached_property
    def _rear_film(self) -> OutsideFilm:
        return film_in(self._rear, self.case, self.air, self.skin_diameter)

    def _to(
        self, film: OutsideFilm, surroundings: Surroundings, skin: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        convection, convection_slope = film.flux(skin)
        radiation, radiation_slope = radiative_flux(
            skin, surroundings.radiant_temperature[:, None], self.case.covering.emissivity[:, None]
        )
        return convection + radiation, convection_slope + radiation_slope


def film_in(
    surroundings: Surroundings, case: Case, air: MixtureTable, skin_diameter: FloatArray
) -> OutsideFilm:
    """The film on a branch's skin in the air that is around it, or around a part of it."""
    return OutsideFilm(
        air,
        surroundings,
        outside_diameter=skin_diameter,
        length=case.branch.length,
        rise=case.branch.rise,
        factor=case.closures.outer_film_factor,
        fixed=case.closures.fixed_outer_film,
    )


def film_on_pipe(
    pipe: MainPipe,
    surroundings: Surroundings,
    air: MixtureTable,
    factor: FloatArray | None = None,
) -> OutsideFilm:
    """The film on the main pipe's skin, which is taken as bare, level and long.

    ``factor``, (designs,), is that of the closures' outer film; one unless given.
    """
    size = len(pipe)
    return OutsideFilm(
        air,
        surroundings,
        outside_diameter=pipe.outside_diameter,
        length=np.ones(size),
        rise=np.zeros(size),
        factor=np.ones(size) if factor is None else factor,
        fixed=np.full(size, np.nan),
    )
