# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""The duct's resonances, compiled: see compiled.py and resonance.py."""

from __future__ import annotations

from typing import NamedTuple

import numba
import numpy as np
from numba.extending import register_jitable

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.base.compiled import LANES, Table, options, properties
from warmbranch.sound import phases
from warmbranch.sound.compiled_line import LINE_ROOM, Cells
from warmbranch.sound.compiled_tube import layer, tubes

for _function in (phases.reflection_phase, phases.mode_angle):
    register_jitable(_function)


class Lanes(NamedTuple):
    """Searches that go on together: design and mode of each, and room for their marches."""

    design: IntArray
    mode: IntArray
    room: FloatArray


class Search(NamedTuple):
    """How a root is sought: tolerance, longest step over the start (or now), most steps."""

    tolerance: float
    longest: float
    most: int


@numba.njit(**options)
def next_slope(slope: float, secant: float) -> float:
    """The secant's slope where it can be trusted, else the old one."""
    if np.isfinite(secant) and 0.2 < secant / slope < 5:
        return secant
    return slope


@numba.njit(**options)
def angles(
    duct: Cells,
    lane: Lanes,
    open_: IntArray,
    here: FloatArray,
    whole: bool,
    reference: FloatArray,
    value: FloatArray,
) -> None:
    """How far the lanes ``open_`` are from resonance, rad, at the frequencies ``here``.

    ``whole``: the phase of the reflection by the whole reactance, else the mode's angle.
    """
    count = len(open_)
    design, frequency = np.empty(count, dtype=np.int64), np.empty(count)
    for k in range(count):
        design[k], frequency[k] = lane.design[open_[k]], here[open_[k]]
    impedance, travelled = np.empty(count, dtype=np.complex128), np.empty(count)
    tubes(duct, design, frequency, lane.room, impedance, travelled)
    for k in range(count):
        i, n = design[k], open_[k]
        inertia = 2 * np.pi * frequency[k] * duct.mouth_inertance[i]
        if whole:
            value[n] = phases.reflection_phase(impedance[k] + 1j * inertia, reference[n])
        else:
            angle = phases.mode_angle(impedance[k], travelled[k], inertia, reference[n])
            value[n] = angle - lane.mode[n] * np.pi


@numba.njit(**options)
def near_modes(
    duct: Cells, lane: Lanes, start: FloatArray, slope: FloatArray, reference: FloatArray,
    search: Search,
) -> FloatArray:  # fmt: skip
    """First search: which mode, and about where; NaN where it does not end."""
    here, rise, found = start.copy(), slope.copy(), np.full(len(start), np.nan)
    value, new, step = np.empty(len(start)), np.empty(len(start)), np.empty(len(start))
    open_ = np.arange(len(start))
    angles(duct, lane, open_, here, False, reference, value)
    for _ in range(search.most):
        left = 0
        for n in open_:
            move = -value[n] / rise[n]
            step[n] = min(max(move, -search.longest * here[n]), here[n] / search.longest)
            here[n] += step[n]
            if abs(step[n]) <= search.tolerance * here[n]:
                found[n] = here[n]
            else:
                open_[left] = n
                left += 1
        open_ = open_[:left]
        if left == 0:
            break
        angles(duct, lane, open_, here, False, reference, new)
        for n in open_:
            rise[n] = next_slope(rise[n], (new[n] - value[n]) / step[n])
            value[n] = new[n]
    return found


@numba.njit(**options)
def polished(
    duct: Cells, lane: Lanes, start: FloatArray, reference: FloatArray, search: Search
) -> FloatArray:
    """Second search: the zero of the whole reactance next to ``start``; NaN where none is."""
    found, here = np.full(len(start), np.nan), start.copy()
    value, new, step = np.empty(len(start)), np.empty(len(start)), np.empty(len(start))
    open_ = np.flatnonzero(~np.isnan(start))
    nearby = start * (1 + search.longest / 16)
    fall = np.empty(len(start))
    angles(duct, lane, open_, here, True, reference, value)
    angles(duct, lane, open_, nearby, True, reference, new)
    for n in open_:
        fall[n] = (new[n] - value[n]) / (nearby[n] - start[n])
    for _ in range(search.most):
        left = 0
        for n in open_:
            longest = search.longest * start[n]
            step[n] = min(max(-value[n] / fall[n], -longest), longest)
            here[n] += step[n]
            if abs(step[n]) <= search.tolerance * here[n]:
                found[n] = here[n]
            elif abs(here[n] - start[n]) <= longest:
                open_[left] = n
                left += 1
        open_ = open_[:left]
        if left == 0:
            break
        angles(duct, lane, open_, here, True, reference, new)
        for n in open_:
            fall[n] = next_slope(fall[n], (new[n] - value[n]) / step[n])
            value[n] = new[n]
    return found


@numba.njit(**options)
def resonances(
    duct: Cells,
    start: FloatArray,
    slope: FloatArray,
    reference: FloatArray,
    coarse: Search,
    fine: Search,
    stop: IntArray,
) -> FloatArray:
    """Resonances from (designs, modes) starts; NaN where none is met."""
    designs, modes = start.shape
    found = np.full(start.shape, np.nan)
    room = np.empty(LINE_ROOM)
    together = max(LANES // modes, 1)
    for first in range(0, designs, together):
        if stop[0] != 0:
            break  # the caller tells: see stopping.py
        these = min(together, designs - first)
        count = these * modes
        lane = Lanes(np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64), room)
        begin, rise, own = np.empty(count), np.empty(count), np.empty(count)
        for k in range(count):
            i, n = first + k // modes, k % modes
            lane.design[k], lane.mode[k] = i, n
            begin[k], rise[k], own[k] = start[i, n], slope[i], reference[i]
        near = near_modes(duct, lane, begin, rise, own, coarse)
        for k in range(count):
            own[k] += 2 * np.pi * near[k] * duct.mouth_inertance[lane.design[k]]
        sought = polished(duct, lane, near, own, fine)
        for k in range(count):
            found[lane.design[k], lane.mode[k]] = sought[k]
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
    stop: IntArray,
) -> FloatArray:
    """ln of the one temperature that puts each design's resonance at ``frequency``."""
    found = np.full(start.shape, np.nan)
    cells = 1 if straight else duct.mass.shape[0]
    for i in range(len(start)):
        if stop[0] != 0:
            break  # the caller tells: see stopping.py
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
