"""The main pipe's gas from its skin: the main pipe's own heat balance, solved backwards.

A hand thermometer sees the main pipe's skin, never its gas. The balance of main_pipe_wall.py,
``h_i(T_g) P_i (T_g − T_w) = P_o [convection + radiation]``, has the skin known here and the gas
sought. How far the answer can be trusted follows from draws of all that the balance takes for
granted: fit/main_gas.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.closures import Prior
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.surroundings import Surroundings
from warmbranch.gas.gas import COLDEST, HOTTEST, MixtureTable
from warmbranch.heat.main_pipe_wall import inner_film
from warmbranch.heat.outside import film_on_pipe
from warmbranch.heat.radiation import radiative_flux

GAS_TOLERANCE = 1e-9
"""K. Width of the bracket at which the search for the gas ends."""

ENGINE_LOADS: dict[str, Prior] = {
    "idle": Prior(180.0, 90.0, 360.0),
    "cruise": Prior(330.0, 170.0, 640.0),
    "hard": Prior(560.0, 320.0, 980.0),
}
"""Excess of the main gas over the air, K, by what the engine does: median, and the range that
holds 95 %. A car's or a generator's pipe some way behind the engine; petrol lies in the upper
half, diesel in the lower. Our judgement, common practice, no source: hence so wide."""


_TOO_MANY_STEPS = -2
"""scipy's status of a search that ended before its tolerance; a missing sign change is -1."""


@dataclass(frozen=True)
class Flow(Batched):
    """What is known of the flow: a mass flow, or the speed of the gas.

    Parameters
    ----------
    pressure : (designs,) array, Pa
    speed : (designs,) array, m/s
        Where the mass flow follows from an assumed speed, and so from the temperature that is
        sought; NaN where the main pipe's own mass flow holds.
    """

    pressure: FloatArray
    speed: FloatArray

    def at(self, temperature: FloatArray, pipe: MainPipe, gas: MixtureTable) -> FloatArray:
        """Mass flow, kg/s, with gas of this temperature, (designs,)."""
        density = gas.density(temperature[:, None], self.pressure)[:, 0]
        driven = density * pipe.bore_area * self.speed
        return np.where(np.isnan(self.speed), pipe.mass_flow, driven)


def gas_temperature(
    wall: FloatArray,
    pipe: MainPipe,
    gas: MixtureTable,
    surroundings: Surroundings,
    air: MixtureTable,
    flow: Flow,
    outer_film_factor: FloatArray | None = None,
) -> FloatArray:
    r"""Gas temperature that keeps the main pipe's wall as warm as it is.

    .. math:: h_i(T_g)\,P_i\,(T_g - T_w) = P_o\,[h_o (T_w - T_{air})
              + \varepsilon\sigma(T_w^4 - T_{rad}^4)]

    Parameters
    ----------
    wall : (designs,) array, K
        Of the main pipe at the mouth; the wall is thin, so it is the skin.
    pipe : MainPipe
        Its gas temperature is not looked at.
    flow : Flow
    outer_film_factor : (designs,) array, optional
        On the outer film; 1 as in the forward balance when left out.

    Returns
    -------
    (designs,) array, K
        NaN where no gas within the property tables keeps the wall that warm.

    Raises
    ------
    NotConvergedError

    Check
    -----
    The forward balance's own wall returns its gas: tests/models/heat/test_main_pipe_gas.py.
    """
    lost = _lost(wall, pipe, surroundings, air, outer_film_factor)

    def excess(temperature: FloatArray, designs: FloatArray) -> FloatArray:
        """Heat that the gas gives beyond what is lost, W per m² of skin."""
        own = designs.astype(np.intp)
        mixture, still = gas.take(own), pipe.take(own)
        known = flow.take(own)
        hot = still.changed(
            gas_temperature=temperature, mass_flow=known.at(temperature, still, mixture)
        )
        supply = inner_film(hot, mixture) * still.bore / still.outside_diameter
        return supply * (temperature - wall[own]) - lost[own]

    # A wall that loses heat has the hotter gas behind it, one that gains heat the colder.
    near = np.clip(wall, COLDEST, HOTTEST)
    far = np.where(lost >= 0, HOTTEST, COLDEST)
    bracket = np.minimum(near, far), np.maximum(near, far)
    tolerances = {"xatol": GAS_TOLERANCE, "xrtol": 0.0, "fatol": 0.0, "frtol": 0.0}
    # Late: it costs half a second, and few cases give a skin in place of the gas.
    find_root: Any = import_module("scipy.optimize.elementwise").find_root
    found: Any = find_root(excess, bracket, args=(np.arange(len(pipe)),), tolerances=tolerances)
    if np.any(found.status == _TOO_MANY_STEPS):
        lacking = np.flatnonzero(found.status == _TOO_MANY_STEPS)
        raise NotConvergedError(
            "The main pipe's balance, solved backwards, did not converge.",
            designs=tuple(int(i) for i in lacking),
            residual=float(np.max(found.bracket[1] - found.bracket[0])),
            iterations=int(np.max(found.nit)),
        )
    return np.where(found.success, found.x, np.nan)


def _lost(
    wall: FloatArray,
    pipe: MainPipe,
    surroundings: Surroundings,
    air: MixtureTable,
    factor: FloatArray | None,
) -> FloatArray:
    """Heat that a wall of this temperature loses outside, W per m² of skin."""
    film = film_on_pipe(pipe, surroundings, air, factor)
    convection, _ = film.flux(wall[:, None])
    radiation, _ = radiative_flux(
        wall[:, None], surroundings.radiant_temperature[:, None], pipe.emissivity[:, None]
    )
    return (convection + radiation)[:, 0]
