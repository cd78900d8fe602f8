"""The main pipe's wall at the mouth, from its own heat balance."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.surroundings import Surroundings
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.nusselt import nusselt_pipe
from warmbranch.heat.outside import film_on_pipe
from warmbranch.heat.radiation import radiative_flux

STEP_TOLERANCE = 1e-5
"""K. Newton's quadratic convergence leaves far less than this last step."""

USUAL_LOSS = 40.0
"""W/(m² K), of film and radiation outside: where the search starts, and nothing else."""

MOST_WALL_STEPS = 60


def inner_film(pipe: MainPipe, gas: MixtureTable) -> FloatArray:
    """Film coefficient inside the main pipe, W/(m² K); shape (designs,).

    Steady-flow pipe correlation at the gas temperature, times ``film_augmentation``.
    """
    state = gas.evaluate(pipe.gas_temperature[:, None])
    reynolds = 4 * pipe.mass_flow[:, None] / (np.pi * pipe.bore[:, None] * state.viscosity)
    prandtl = state.heat_capacity * state.viscosity / state.conductivity
    steady = nusselt_pipe(reynolds, prandtl) * state.conductivity / pipe.bore[:, None]
    return pipe.film_augmentation * steady[:, 0]


def wall_temperature(
    pipe: MainPipe, gas: MixtureTable, surroundings: Surroundings, air: MixtureTable
) -> FloatArray:
    """Wall temperature of the main pipe at the mouth.

    The given skin temperature where there is one; elsewhere the root of the pipe's own heat
    balance per unit length, ``h_i P_i (T_g − T_w) = P_o [convection + radiation]``, the wall
    being thin. The pipe is taken as bare, level and long.

    Returns
    -------
    (designs,) array, K

    Raises
    ------
    NotConvergedError
        If Newton's method has not met ``STEP_TOLERANCE`` in ``MOST_WALL_STEPS`` steps.
    """
    supply = (inner_film(pipe, gas) * pipe.bore / pipe.outside_diameter)[:, None]
    wall, step = _balanced(pipe, surroundings, air, supply)
    if np.any(step > STEP_TOLERANCE):
        raise NotConvergedError(
            "The main pipe's own heat balance did not converge.",
            designs=tuple(int(i) for i in np.flatnonzero(step > STEP_TOLERANCE)),
            residual=float(step.max()),
            iterations=MOST_WALL_STEPS,
        )
    return np.where(np.isnan(pipe.skin_temperature), wall, pipe.skin_temperature)


def _balanced(
    pipe: MainPipe, surroundings: Surroundings, air: MixtureTable, supply: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Newton's method on the main pipe's balance: wall temperature and last step, K."""
    film = film_on_pipe(pipe, surroundings, air)
    hot = pipe.gas_temperature[:, None]
    radiant = surroundings.radiant_temperature[:, None]
    air_temperature = surroundings.air_temperature[:, None]
    low = np.minimum(np.minimum(hot, air_temperature), radiant)
    high = np.maximum(np.maximum(hot, air_temperature), radiant)
    wall = (supply * hot + USUAL_LOSS * air_temperature) / (supply + USUAL_LOSS)
    step = np.zeros_like(wall)
    for _ in range(MOST_WALL_STEPS):
        convection, convection_slope = film.flux(wall)
        radiation, radiation_slope = radiative_flux(wall, radiant, pipe.emissivity[:, None])
        residual = supply * (hot - wall) - convection - radiation
        # The balance is monotone in the wall temperature, so its root lies between the extremes.
        new = wall + residual / (supply + convection_slope + radiation_slope)
        new = np.minimum(np.maximum(new, low), high)
        step, wall = np.abs(new - wall), new
        if (step < STEP_TOLERANCE).all():
            break
    return wall[:, 0], step[:, 0]
