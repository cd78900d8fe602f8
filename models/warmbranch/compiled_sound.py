# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""The duct's impedance and its resonances, compiled: see compiled.py and acoustics.py."""

from __future__ import annotations

from typing import NamedTuple

import numba
import numpy as np
from numba.extending import register_jitable

from warmbranch import phases, viscothermal
from warmbranch.batch import ComplexArray, FloatArray
from warmbranch.compiled import Table, options, properties

for _function in (
    phases.reflection_phase,
    phases.mode_angle,
    viscothermal.wide_series,
    viscothermal.bessel_ratio,
):
    register_jitable(_function)


class Cells(NamedTuple):
    """A duct's columns, (cells, designs); layers (2, cells, designs); the rest (designs,)."""

    density: FloatArray
    bulk: FloatArray
    layers: FloatArray
    thermal: FloatArray
    inertance: FloatArray
    length: FloatArray
    skew: FloatArray
    radius: FloatArray
    mouth_inertance: FloatArray


class Search(NamedTuple):
    """How a root is sought: tolerance, longest step over the start (or now), most steps."""

    tolerance: float
    longest: float
    most: int


@numba.njit(**options)
def layer(inverse: float) -> complex:
    """:func:`viscothermal.layer_function` of one number."""
    if inverse <= 1 / viscothermal.WIDE_TUBE:
        return viscothermal.wide_series(inverse)
    return viscothermal.bessel_ratio(inverse)


@numba.njit(**options)
def tube(duct: Cells, i: int, frequency: float) -> tuple[complex, float]:
    """p/U of design ``i`` without the mouth's inertance, and the phase travelled to the cap."""
    area = np.pi * duct.radius[i] ** 2
    j_omega = 2j * np.pi * frequency
    thinner = 1 / np.sqrt(frequency)
    p, u, travelled = 1.0 + 0j, 0.0j, 0.0
    for c in range(duct.density.shape[0] - 1, -1, -1):
        viscous = layer(duct.layers[0, c, i] * thinner)
        heat = layer(duct.layers[1, c, i] * thinner)
        z = j_omega * (duct.density[c, i] / area) / (1 - viscous) * duct.inertance[c, i]
        y = j_omega * (area / duct.bulk[c, i]) * (1 + duct.thermal[c, i] * heat)
        y *= duct.length[c, i]
        squared = z * y
        tilt = squared * duct.skew[c, i]
        phase = np.sqrt(squared + tilt * tilt)
        travelled += phase.imag
        grown = np.exp(phase)
        shrunk = 1 / grown
        even, odd = (grown + shrunk) * 0.5, (grown - shrunk) / (2 * phase)
        p, u = (even + tilt * odd) * p + z * odd * u, y * odd * p + (even - tilt * odd) * u
    return p / u, travelled


@numba.njit(**options)
def at_mouth(duct: Cells, i: int, frequency: float) -> complex:
    """p/U of design ``i`` at the mouth, mouth inertance included."""
    alone, _ = tube(duct, i, frequency)
    return alone + 2j * np.pi * frequency * duct.mouth_inertance[i]


@numba.njit(**options)
def mouth_impedance(duct: Cells, frequency: FloatArray) -> ComplexArray:
    """:func:`at_mouth` at (designs, n) frequencies."""
    result = np.empty(frequency.shape, dtype=np.complex128)
    for i in range(frequency.shape[0]):
        for n in range(frequency.shape[1]):
            result[i, n] = at_mouth(duct, i, frequency[i, n])
    return result


@numba.njit(**options)
def next_slope(slope: float, secant: float) -> float:
    """The secant's slope where it can be trusted, else the old one."""
    if np.isfinite(secant) and 0.2 < secant / slope < 5:
        return secant
    return slope


@numba.njit(**options)
def angle(duct: Cells, i: int, mode: int, frequency: float, reference: float) -> float:
    """How far the mode's angle is from resonance, rad."""
    alone, travelled = tube(duct, i, frequency)
    inertia = 2 * np.pi * frequency * duct.mouth_inertance[i]
    return phases.mode_angle(alone, travelled, inertia, reference) - mode * np.pi


@numba.njit(**options)
def near_mode(
    duct: Cells, i: int, mode: int, start: float, slope: float, reference: float, search: Search
) -> float:
    """First search: which mode, and about where."""
    here, rise = start, slope
    value = angle(duct, i, mode, here, reference)
    for _ in range(search.most):
        step = min(max(-value / rise, -search.longest * here), here / search.longest)
        here += step
        if abs(step) <= search.tolerance * here:
            return here
        new = angle(duct, i, mode, here, reference)
        rise = next_slope(rise, (new - value) / step)
        value = new
    return np.nan


@numba.njit(**options)
def polished(duct: Cells, i: int, start: float, reference: float, search: Search) -> float:
    """Second search: the zero of the whole reactance next to ``start``."""
    nearby = start * (1 + search.longest / 16)
    here, value = start, phases.reflection_phase(at_mouth(duct, i, start), reference)
    other = phases.reflection_phase(at_mouth(duct, i, nearby), reference)
    fall = (other - value) / (nearby - start)
    longest = search.longest * start
    for _ in range(search.most):
        step = min(max(-value / fall, -longest), longest)
        here += step
        if abs(step) <= search.tolerance * here:
            return here
        if not abs(here - start) <= longest:
            return np.nan
        new = phases.reflection_phase(at_mouth(duct, i, here), reference)
        fall = next_slope(fall, (new - value) / step)
        value = new
    return np.nan


@numba.njit(**options)
def resonances(
    duct: Cells,
    start: FloatArray,
    slope: FloatArray,
    reference: FloatArray,
    coarse: Search,
    fine: Search,
) -> FloatArray:
    """Resonances from (designs, modes) starts; NaN where none is met."""
    found = np.full(start.shape, np.nan)
    for i in range(start.shape[0]):
        for n in range(start.shape[1]):
            near = near_mode(duct, i, n, start[i, n], slope[i], reference[i], coarse)
            if not np.isnan(near):
                wide = reference[i] + 2 * np.pi * near * duct.mouth_inertance[i]
                found[i, n] = polished(duct, i, near, wide, fine)
    return found


@numba.njit(**options)
def uniform_phase(
    duct: Cells,
    i: int,
    cells: int,
    table: FloatArray,
    grid: Table,
    gas_constant: float,
    pressure: float,
    lossy: bool,
    frequency: float,
    temperature: float,
) -> float:
    """Reflection phase of the same duct filled with gas of one temperature."""
    cp, k, mu, _, _, _ = properties(table, grid, temperature)
    density = pressure / (gas_constant * temperature)
    ratio = cp / (cp - gas_constant)
    area = np.pi * duct.radius[i] ** 2
    j_omega = 2j * np.pi * frequency
    thin = np.sqrt(mu / (2 * np.pi * density * frequency)) / duct.radius[i] if lossy else 0.0
    viscous = layer(thin)
    heat = layer(thin / np.sqrt(cp * mu / k))
    z = j_omega * (density / area) / (1 - viscous)
    y = j_omega * (area / (ratio * pressure)) * (1 + (ratio - 1) * heat)
    p, u = 1.0 + 0j, 0.0j
    for c in range(cells - 1, -1, -1):
        length, inertance = duct.length[c, i], duct.inertance[c, i]
        if cells == 1:
            length, inertance = np.sum(duct.length[:, i]), np.sum(duct.inertance[:, i])
        phase = np.sqrt(z * y * inertance * length)
        grown = np.exp(phase)
        shrunk = 1 / grown
        even, odd = (grown + shrunk) * 0.5, (grown - shrunk) / (2 * phase)
        p, u = even * p + z * inertance * odd * u, y * length * odd * p + even * u
    reference = np.sqrt(density * ratio * pressure) / area
    return phases.reflection_phase(p / u + j_omega * duct.mouth_inertance[i], reference)


@numba.njit(**options)
def effective_temperatures(
    duct: Cells,
    straight: bool,
    tables: FloatArray,
    grid: Table,
    gas_constant: FloatArray,
    pressure: FloatArray,
    lossy: FloatArray,
    frequency: FloatArray,
    start: FloatArray,
    search: Search,
) -> FloatArray:
    """ln of the one temperature that puts each design's resonance at ``frequency``."""
    found = np.full(start.shape, np.nan)
    cells = 1 if straight else duct.density.shape[0]
    for i in range(len(start)):
        here, rise = start[i], np.pi / 2
        longest = search.longest * abs(here)
        own = (tables[i], grid, gas_constant[i], pressure[i], lossy[i], frequency[i])
        value = uniform_phase(duct, i, cells, *own, np.exp(here))
        for _ in range(search.most):
            step = min(max(-value / rise, -longest), longest)
            here += step
            if abs(step) <= search.tolerance * abs(here):
                found[i] = here
                break
            new = uniform_phase(duct, i, cells, *own, np.exp(here))
            rise = next_slope(rise, (new - value) / step)
            value = new
    return found
