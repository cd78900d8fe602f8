# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""Convection and radiation from the skin, compiled: see compiled.py, films.py and radiation.py."""

from __future__ import annotations

import numba
import numpy as np
from numba.extending import register_jitable

import warmbranch.base.compiled_elementary  # noqa: F401  (gives nusselt its compiled logarithm)
from warmbranch.base.batch import FloatArray
from warmbranch.base.compiled import ROW, Outside, Table, options, properties
from warmbranch.base.constants import GRAVITY, STEFAN_BOLTZMANN
from warmbranch.heat import nusselt_forms as forms
from warmbranch.heat.compiled_prandtl import (
    cross_slope,
    cross_value,
    exponent,
    exponent_slope,
    level_slope,
    level_value,
    place,
    plate_slope,
    plate_value,
    strength,
    strength_slope,
)

for _function in (
    forms.sixth_root,
    forms.natural,
    forms.curved,
    forms.crossed,
):
    register_jitable(inline="always")(_function)

# Rows of the room: air at film temperature and its slopes, then what the films make of them.
CP, K, MU, CP_SLOPE, K_SLOPE, MU_SLOPE = (n * ROW for n in range(6))
EXCESS, PRANDTL, PER_VOLUME, BY_RAYLEIGH, BY_PRANDTL, BY_REYNOLDS, BY_K, NUSSELT, GROWTH = (
    n * ROW for n in range(6, 15)
)
PLACE, ROOT = (n * ROW for n in range(15, 17))
OUTSIDE_ROOM = 17 * ROW


@numba.njit(**options)
def outside_fluxes(
    out: Outside,
    grid: Table,
    i: int,
    skin: FloatArray,
    flux: FloatArray,
    slope: FloatArray,
    room: FloatArray,
) -> None:
    """Convection and radiation from up to ``LANES`` skins of design ``i``, W/m², and the slope."""
    count = len(skin)
    around, fixed = out.air_temperature[i], out.fixed[i]
    strength = STEFAN_BOLTZMANN * out.emissivity[i]
    radiant = strength * out.radiant_temperature[i] ** 4
    if not np.isnan(fixed):
        for k in range(count):
            cubed = strength * skin[k] * skin[k] * skin[k]
            flux[k] = cubed * skin[k] - radiant + fixed * (skin[k] - around)
            slope[k] = 4 * cubed + fixed
        return
    for k in range(count):
        excess = skin[k] - around
        room[k + CP], room[k + K], room[k + MU], a, b, c = properties(
            out.air, grid, around + 0.5 * excess
        )
        room[k + CP_SLOPE], room[k + K_SLOPE], room[k + MU_SLOPE] = a, b, c
        room[k + EXCESS] = excess
    _nusselt(out, i, count, room)
    scale = out.factor[i] / out.diameter[i]
    for k in range(count):
        excess = room[k + EXCESS]
        here = around + excess
        cubed = strength * here * here * here
        coefficient = scale * room[k + K] * room[k + NUSSELT]
        grown = scale * room[k + K] * room[k + GROWTH] + coefficient * room[k + BY_K]
        room[k + CP] = cubed * here - radiant + coefficient * excess
        room[k + MU] = 4 * cubed + coefficient + grown
    for k in range(count):
        flux[k] = room[k + CP]
    for k in range(count):
        slope[k] = room[k + MU]


@numba.njit(**options)
def _nusselt(out: Outside, i: int, count: int, room: FloatArray) -> None:
    """Nusselt number of convection, and its slope with the skin's temperature times the excess."""
    around, diameter, length = out.air_temperature[i], out.diameter[i], out.length[i]
    per_t = out.pressure[i] / out.air_gas_constant
    buoyancy = GRAVITY * per_t**2
    for k in range(count):
        cp, conductivity, mu = room[k + CP], room[k + K], room[k + MU]
        half = 0.5 * room[k + EXCESS]
        film = around + half
        # Divisions are dear: two, whose factors give the others.
        each, per_film = 1 / (cp * conductivity * mu), 1 / film
        by_cp = half * room[k + CP_SLOPE] * (each * conductivity * mu)
        by_k = half * room[k + K_SLOPE] * (each * cp * mu)
        by_mu = half * room[k + MU_SLOPE] * (each * cp * conductivity)
        by_t = half * per_film
        room[k + PRANDTL] = cp * mu * (each * cp * mu)
        room[k + PER_VOLUME] = (
            buoyancy * abs(room[k + EXCESS]) * (per_film * per_film * per_film) * (each * cp * cp)
        )
        room[k + BY_PRANDTL] = by_cp - by_k + by_mu
        room[k + BY_RAYLEIGH] = 1 + (by_cp - by_k - by_mu - 3 * by_t)
        room[k + BY_REYNOLDS] = -by_t - by_mu
        room[k + BY_K] = by_k
    diameter_cubed = diameter**3
    for k in range(count):
        t = place(room[k + PRANDTL])
        room[k + PLACE] = t
        room[k + ROOT] = forms.sixth_root(room[k + PER_VOLUME] * diameter_cubed)
        factors = forms.Factors(level_value(t), level_slope(t))
        level = forms.natural(room[k + ROOT], forms.LEVEL_STILL, factors)
        room[k + NUSSELT] = level.value
        room[k + GROWTH] = (
            level.slope_first * room[k + BY_RAYLEIGH] + level.slope_prandtl * room[k + BY_PRANDTL]
        )
    upright = np.sin(out.rise[i]) ** 2
    if upright > 0:
        slenderness = length / diameter
        lying, standing, length_cubed = 1 - upright, upright / slenderness, length**3
        taller = np.sqrt(slenderness)
        for k in range(count):
            t = room[k + PLACE]
            factors = forms.Factors(plate_value(t), plate_slope(t))
            plate = forms.natural(taller * room[k + ROOT], forms.PLATE_STILL, factors)
            bend = forms.CurvatureFactors(
                strength(t), strength_slope(t), exponent(t), exponent_slope(t)
            )
            grashof = room[k + PER_VOLUME] * length_cubed / room[k + PRANDTL]
            up = forms.curved(plate, grashof, slenderness, bend)
            grown = up.slope_first * room[k + BY_RAYLEIGH]
            grown += up.slope_prandtl * room[k + BY_PRANDTL]
            room[k + NUSSELT] = lying * room[k + NUSSELT] + standing * up.value
            room[k + GROWTH] = lying * room[k + GROWTH] + standing * grown
    if out.air_speed[i] > 0:
        flow = out.air_speed[i] * per_t * diameter
        for k in range(count):
            film = around + 0.5 * room[k + EXCESS]
            t = room[k + PLACE]
            factors = forms.Factors(cross_value(t), cross_slope(t))
            cross = forms.crossed(flow / (film * room[k + MU]), factors)
            grown = cross.slope_first * room[k + BY_REYNOLDS]
            grown += cross.slope_prandtl * room[k + BY_PRANDTL]
            natural, forced = room[k + NUSSELT], cross.value
            natural_cubed = natural * natural * natural
            forced_cubed = forced * forced * forced
            fourth = natural_cubed * natural + forced_cubed * forced
            mixed = np.sqrt(np.sqrt(fourth))
            room[k + NUSSELT] = mixed
            room[k + GROWTH] = (
                (natural_cubed * room[k + GROWTH] + forced_cubed * grown) * mixed / fourth
            )


@numba.njit(**options)
def outside_flux(out: Outside, grid: Table, i: int, skin: float) -> tuple[float, float]:
    """:func:`outside_fluxes` from one skin."""
    room, numbers = np.empty(OUTSIDE_ROOM), np.empty(3)
    numbers[0] = skin
    outside_fluxes(out, grid, i, numbers[0:1], numbers[1:2], numbers[2:3], room)
    return numbers[1], numbers[2]


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
