# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""The duct's impedance and its resonances, compiled: see compiled.py and acoustics.py."""

from __future__ import annotations

from typing import NamedTuple

import numba
import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from warmbranch import phases, viscothermal
from warmbranch.batch import ComplexArray, FloatArray, IntArray
from warmbranch.compiled import LANES, Table, options, properties
from warmbranch.compiled_line import (
    HEAT,
    LARGEST,
    LARGEST_SQUARE,
    LINE_ROOM,
    MASS,
    P_IM,
    P_RE,
    SKEW,
    SPRING,
    THERMAL,
    TRAVELLED,
    U_IM,
    U_RE,
    VISCOUS,
    Cells,
    add_travelled,
    narrow,
    start,
    through_cell,
)

for _function in (
    phases.reflection_phase,
    phases.mode_angle,
    viscothermal.wide_series,
):
    register_jitable(_function)


IndexArray = NDArray[np.int64]


class Lanes(NamedTuple):
    """Searches that go on together: design and mode of each, and room for their marches."""

    design: IndexArray
    mode: IndexArray
    room: FloatArray


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
    real, imaginary = narrow(inverse)
    return complex(real, imaginary)


@numba.njit(**options)
def exact_tube(duct: Cells, i: int, frequency: float) -> tuple[complex, float]:
    """p/U of design ``i`` without the mouth's inertance, and the phase travelled to the cap.

    By the exponential, for any phase in a cell: where the series of compiled_line.py end.
    """
    j_omega = 2j * np.pi * frequency
    thinner = 1 / np.sqrt(frequency)
    p, u, travelled = 1.0 + 0j, 0.0j, 0.0
    for c in range(duct.mass.shape[0] - 1, -1, -1):
        z = j_omega * duct.mass[c, i] / (1 - layer(duct.viscous[c, i] * thinner))
        y = j_omega * duct.spring[c, i]
        y *= 1 + duct.thermal[c, i] * layer(duct.heat[c, i] * thinner)
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
def tubes(
    duct: Cells,
    design: IndexArray,
    frequency: FloatArray,
    room: FloatArray,
    impedance: ComplexArray,
    travelled: FloatArray,
) -> None:
    """:func:`exact_tube` of up to ``LANES`` designs, each at its frequency."""
    count = len(frequency)
    start(frequency, room)
    for c in range(duct.mass.shape[0] - 1, -1, -1):
        for k in range(count):
            i = design[k]
            room[k + MASS], room[k + SPRING] = duct.mass[c, i], duct.spring[c, i]
            room[k + VISCOUS], room[k + HEAT] = duct.viscous[c, i], duct.heat[c, i]
            room[k + THERMAL], room[k + SKEW] = duct.thermal[c, i], duct.skew[c, i]
        through_cell(count, room)
        add_travelled(count, room)
    for k in range(count):
        if room[k + LARGEST] > LARGEST_SQUARE**2:
            impedance[k], travelled[k] = exact_tube(duct, design[k], frequency[k])
        else:
            impedance[k] = complex(room[k + P_RE], room[k + P_IM]) / complex(
                room[k + U_RE], room[k + U_IM]
            )
            travelled[k] = room[k + TRAVELLED]


@numba.njit(**options)
def mouth_impedance(duct: Cells, frequency: FloatArray) -> ComplexArray:
    """p/U at the mouth, mouth inertance included, at (designs, n) frequencies."""
    result = np.empty(frequency.shape, dtype=np.complex128)
    room = np.empty(LINE_ROOM)
    designs, many = frequency.shape
    for i in range(designs):
        for first in range(0, many, LANES):
            count = min(LANES, many - first)
            start(frequency[i, first : first + count], room)
            for c in range(duct.mass.shape[0] - 1, -1, -1):
                mass, spring, thermal = duct.mass[c, i], duct.spring[c, i], duct.thermal[c, i]
                viscous, heat, skew = duct.viscous[c, i], duct.heat[c, i], duct.skew[c, i]
                for k in range(count):
                    room[k + MASS], room[k + SPRING], room[k + THERMAL] = mass, spring, thermal
                    room[k + VISCOUS], room[k + HEAT], room[k + SKEW] = viscous, heat, skew
                through_cell(count, room)
            for k in range(count):
                f = frequency[i, first + k]
                if room[k + LARGEST] > LARGEST_SQUARE**2:
                    alone, _ = exact_tube(duct, i, f)
                else:
                    alone = complex(room[k + P_RE], room[k + P_IM]) / complex(
                        room[k + U_RE], room[k + U_IM]
                    )
                result[i, first + k] = alone + 2j * np.pi * f * duct.mouth_inertance[i]
    return result


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
    open_: IndexArray,
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
