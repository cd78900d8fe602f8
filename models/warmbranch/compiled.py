# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""The hot loops, compiled: one design after another, one node after another.

The same equations as heat_balance.py and banded.py, term by term, in the form that a compiler
wants; the elementwise physics (Nusselt numbers, counterflow, wall layers) is not written again
but compiled from its own module. tests/models/test_compiled.py holds both paths to each other.
Import this module only through kernel.py: it costs a second, and minutes are saved by it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba
import numpy as np
from numba.extending import register_jitable

from warmbranch import mixing, nusselt
from warmbranch.batch import FloatArray
from warmbranch.constants import GRAVITY, STEFAN_BOLTZMANN

for _function in (
    mixing.smooth_size,
    mixing.counterflow,
    nusselt.sloped_churchill_chu,
    nusselt.sloped_vertical_cylinder,
    nusselt.sloped_cross_flow,
):
    register_jitable(_function)

options: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}


class Outside(NamedTuple):
    """What is outside of each tube; every array (designs,) but the air's table (pieces, 12)."""

    air: FloatArray
    air_gas_constant: float
    air_temperature: FloatArray
    radiant_temperature: FloatArray
    pressure: FloatArray
    air_speed: FloatArray
    diameter: FloatArray
    length: FloatArray
    rise: FloatArray
    factor: FloatArray
    fixed: FloatArray
    emissivity: FloatArray


class Inside(NamedTuple):
    """The branch itself; (designs,) but for the tables (designs, pieces, 12), x and forced."""

    gas: FloatArray
    gas_constant: FloatArray
    x: FloatArray
    forced: FloatArray
    bore: FloatArray
    wall_area: FloatArray
    rise: FloatArray
    buoyancy: FloatArray
    stanton: FloatArray
    fixed_film: FloatArray
    metal: FloatArray
    wrap_conductance: FloatArray


class Table(NamedTuple):
    """Lowest temperature and step of the property tables, K."""

    first: float
    step: float


@numba.njit(**options)
def properties(table: FloatArray, grid: Table, temperature: float) -> tuple[float, ...]:
    """c_p, k, μ and their slopes from one mixture's table (pieces, 12)."""
    local = temperature - grid.first
    piece = min(max(int(local / grid.step), 0), table.shape[0] - 1)
    local -= piece * grid.step
    c = table[piece]
    return (
        ((c[3] * local + c[2]) * local + c[1]) * local + c[0],
        ((c[7] * local + c[6]) * local + c[5]) * local + c[4],
        ((c[11] * local + c[10]) * local + c[9]) * local + c[8],
        (3 * c[3] * local + 2 * c[2]) * local + c[1],
        (3 * c[7] * local + 2 * c[6]) * local + c[5],
        (3 * c[11] * local + 2 * c[10]) * local + c[9],
    )


@numba.njit(**options)
def outside_flux(out: Outside, grid: Table, i: int, skin: float) -> tuple[float, float]:
    """Convection and radiation from the skin of design ``i``, W/m², and the slope."""
    radiant = out.radiant_temperature[i]
    strength = STEFAN_BOLTZMANN * out.emissivity[i]
    flux = strength * (skin**4 - radiant**4)
    slope = 4 * strength * skin**3
    around = out.air_temperature[i]
    excess = skin - around
    if not np.isnan(out.fixed[i]):
        return flux + out.fixed[i] * excess, slope + out.fixed[i]
    half = 0.5 * excess
    film = around + half
    cp, k, mu, cp_slope, k_slope, mu_slope = properties(out.air, grid, film)
    by_cp, by_k, by_mu, by_t = (
        half * cp_slope / cp,
        half * k_slope / k,
        half * mu_slope / mu,
        (half / film),
    )
    prandtl = cp * mu / k
    per_t = out.pressure[i] / out.air_gas_constant
    per_volume = GRAVITY * per_t**2 * abs(excess) * cp / (film**3 * mu * k)
    by_prandtl = by_cp - by_k + by_mu
    by_rayleigh = 1 + (by_cp - by_k - by_mu - 3 * by_t)
    diameter = out.diameter[i]
    level = nusselt.sloped_churchill_chu(per_volume * diameter**3, prandtl, 0.60, 0.559)
    value = level.value
    growth = level.slope_first * by_rayleigh + level.slope_prandtl * by_prandtl
    upright = np.sin(out.rise[i]) ** 2
    if upright > 0:
        length = out.length[i]
        slenderness = length / diameter
        up = nusselt.sloped_vertical_cylinder(per_volume * length**3, prandtl, slenderness)
        up_growth = up.slope_first * by_rayleigh + up.slope_prandtl * by_prandtl
        value = (1 - upright) * value + upright / slenderness * up.value
        growth = (1 - upright) * growth + upright / slenderness * up_growth
    if out.air_speed[i] > 0:
        reynolds = out.air_speed[i] * per_t * diameter / (film * mu)
        cross = nusselt.sloped_cross_flow(reynolds, prandtl)
        forced_growth = cross.slope_first * (-by_t - by_mu) + cross.slope_prandtl * by_prandtl
        fourth = value**4 + cross.value**4
        mixed = np.sqrt(np.sqrt(fourth))
        growth = (value**3 * growth + cross.value**3 * forced_growth) * mixed / fourth
        value = mixed
    scale = out.factor[i] / diameter * k
    coefficient = scale * value
    return (
        flux + coefficient * excess,
        slope + coefficient + scale * growth + coefficient * by_k,
    )


@numba.njit(**options)
def main_pipe_wall(
    out: Outside, grid: Table, supply: FloatArray, hot: FloatArray, tolerance: float, most: int
) -> tuple[FloatArray, FloatArray]:
    """Roots of ``supply (T_g − T_w) = outside flux(T_w)`` and the last steps, K."""
    wall, steps = np.empty_like(hot), np.empty_like(hot)
    for i in range(len(hot)):
        around, radiant = out.air_temperature[i], out.radiant_temperature[i]
        low, high = min(hot[i], around, radiant), max(hot[i], around, radiant)
        here, step = (hot[i] + around) / 2, np.inf
        for _ in range(most):
            flux, slope = outside_flux(out, grid, i, here)
            new = here + (supply[i] * (hot[i] - here) - flux) / (supply[i] + slope)
            new = min(max(new, low), high)
            step, here = abs(new - here), new
            if step < tolerance:
                break
        wall[i], steps[i] = here, step
    return wall, steps
