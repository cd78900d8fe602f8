"""The main pipe at the mouth: gas speed, inner film, wall temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.batch import Batched, FloatArray
from warmbranch.errors import NotConvergedError
from warmbranch.films import OutsideFilm
from warmbranch.gas import MixtureTable
from warmbranch.nusselt import nusselt_pipe
from warmbranch.radiation import radiative_flux
from warmbranch.surroundings import Surroundings

STEP_TOLERANCE = 1e-5
"""K. Newton's quadratic convergence leaves far less than this last step."""

MOST_STEPS = 60


@dataclass(frozen=True)
class MainPipe(Batched):
    """The pipe that the branch stands on.

    Parameters
    ----------
    outside_diameter, wall_thickness : (designs,) array, m
    gas_temperature : (designs,) array, K
        Mean over the section, at the mouth.
    skin_temperature : (designs,) array, K
        At the mouth, or NaN: then from the pipe's own heat balance.
    mass_flow : (designs,) array, kg/s
    emissivity : (designs,) array, dimensionless
        Of the main pipe's outer surface; used only in its own heat balance.
    film_augmentation : (designs,) array, dimensionless
        Inner film over that of steady flow.
    incident_pressure : (designs,) array, Pa
        Amplitude of the firing tone that arrives at the mouth; 0 leaves mixing by pulsation out.
    """

    outside_diameter: FloatArray
    wall_thickness: FloatArray
    gas_temperature: FloatArray
    skin_temperature: FloatArray
    mass_flow: FloatArray
    emissivity: FloatArray
    film_augmentation: FloatArray
    incident_pressure: FloatArray

    @property
    def bore(self) -> FloatArray:
        """Inside diameter, m."""
        return self.outside_diameter - 2 * self.wall_thickness

    @property
    def bore_area(self) -> FloatArray:
        """Section open to the gas, m²."""
        return np.pi / 4 * self.bore**2


def bulk_speed(pipe: MainPipe, gas: MixtureTable, pressure: FloatArray) -> FloatArray:
    """Mean gas speed over the main pipe's section at the mouth, m/s; shape (designs,)."""
    density = gas.density(pipe.gas_temperature[:, None], pressure)[:, 0]
    return pipe.mass_flow / (density * pipe.bore_area)


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
        If Newton's method has not met ``STEP_TOLERANCE`` in ``MOST_STEPS`` steps.
    """
    supply = (inner_film(pipe, gas) * pipe.bore / pipe.outside_diameter)[:, None]
    wall, step = _balanced(pipe, surroundings, air, supply)
    if np.any(step > STEP_TOLERANCE):
        raise NotConvergedError(
            "The main pipe's own heat balance did not converge.",
            designs=tuple(int(i) for i in np.flatnonzero(step > STEP_TOLERANCE)),
            residual=float(step.max()),
            iterations=MOST_STEPS,
        )
    return np.where(np.isnan(pipe.skin_temperature), wall, pipe.skin_temperature)


def _balanced(
    pipe: MainPipe, surroundings: Surroundings, air: MixtureTable, supply: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Newton's method on the main pipe's balance: wall temperature and last step, K."""
    film = OutsideFilm(
        air,
        surroundings,
        outside_diameter=pipe.outside_diameter,
        length=np.ones(len(pipe)),
        rise=np.zeros(len(pipe)),
        factor=np.ones(len(pipe)),
        fixed=np.full(len(pipe), np.nan),
    )
    hot = pipe.gas_temperature[:, None]
    radiant = surroundings.radiant_temperature[:, None]
    around = np.stack([hot, surroundings.air_temperature[:, None], radiant])
    low, high = around.min(axis=0), around.max(axis=0)
    wall = (hot + surroundings.air_temperature[:, None]) / 2
    step = np.zeros_like(wall)
    for _ in range(MOST_STEPS):
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
