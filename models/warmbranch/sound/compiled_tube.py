# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""The duct's impedance, and the flow along it, compiled: see compiled.py and acoustics.py."""

from __future__ import annotations

import numba
import numpy as np
from numba.extending import register_jitable

from warmbranch.base.batch import ComplexArray, FloatArray, IntArray
from warmbranch.base.compiled import LANES, options
from warmbranch.sound import viscothermal
from warmbranch.sound.compiled_line import (
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

register_jitable(viscothermal.wide_series)

FEW = 24
"""Frequencies a design below which designs share a room: by measurement."""

NOT_ASKED = np.empty(0)


@numba.njit(**options)
def layer(inverse: float) -> complex:
    """:func:`viscothermal.layer_function` of one number."""
    if inverse <= 1 / viscothermal.WIDE_TUBE:
        return viscothermal.wide_series(inverse)
    real, imaginary = narrow(inverse)
    return complex(real, imaginary)


@numba.njit(**options)
def exact_tube(
    duct: Cells, i: int, frequency: float, size: FloatArray = NOT_ASKED
) -> tuple[complex, float]:
    """p/U of design ``i`` without the mouth's inertance, and the phase travelled to the cap.

    By the exponential, for any phase in a cell: where the series of compiled_line.py end.
    ``size``, if any, takes the size of the flow at the cells' edges, for a pressure of 1 at the
    cap.
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
        if len(size) > 0:
            size[c] = abs(u)
    return p / u, travelled


@numba.njit(**options)
def _own_cells(duct: Cells, c: int, design: IntArray, room: FloatArray) -> None:
    """Cell ``c`` of the design in each lane."""
    for k in range(len(design)):
        i = design[k]
        room[k + MASS], room[k + SPRING] = duct.mass[c, i], duct.spring[c, i]
        room[k + VISCOUS], room[k + HEAT] = duct.viscous[c, i], duct.heat[c, i]
        room[k + THERMAL], room[k + SKEW] = duct.thermal[c, i], duct.skew[c, i]


@numba.njit(**options)
def tubes(
    duct: Cells,
    design: IntArray,
    frequency: FloatArray,
    room: FloatArray,
    impedance: ComplexArray,
    travelled: FloatArray,
) -> None:
    """:func:`exact_tube` of up to ``LANES`` designs, each at its frequency."""
    count = len(frequency)
    start(frequency, room)
    for c in range(duct.mass.shape[0] - 1, -1, -1):
        _own_cells(duct, c, design, room)
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
    if many < FEW:  # lanes of one design would stay empty: several share a room
        _of_many(duct, frequency, room, result)
        return result
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
def _of_many(duct: Cells, frequency: FloatArray, room: FloatArray, result: ComplexArray) -> None:
    """:func:`mouth_impedance` with a lane for each pair of design and frequency."""
    designs, many = frequency.shape
    design, tone = np.empty(LANES, dtype=np.int64), np.empty(LANES)
    alone, travelled = np.empty(LANES, dtype=np.complex128), np.empty(LANES)
    for first in range(0, designs * many, LANES):
        count = min(LANES, designs * many - first)
        for k in range(count):
            design[k] = (first + k) // many
            tone[k] = frequency[design[k], (first + k) % many]
        tubes(duct, design[:count], tone[:count], room, alone, travelled)
        for k in range(count):
            inertia = 2j * np.pi * tone[k] * duct.mouth_inertance[design[k]]
            result[design[k], (first + k) % many] = alone[k] + inertia


@numba.njit(**options)
def flow(duct: Cells, frequency: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """:func:`acoustics.flow` at (designs,) frequencies."""
    designs, cells = len(frequency), duct.mass.shape[0]
    impedance = np.empty(designs, dtype=np.complex128)
    size = np.zeros((designs, cells + 1))
    room = np.empty(LINE_ROOM)
    for first in range(0, designs, LANES):
        count = min(LANES, designs - first)
        design, tone = np.arange(first, first + count), frequency[first : first + count]
        start(tone, room)
        for c in range(cells - 1, -1, -1):
            _own_cells(duct, c, design, room)
            through_cell(count, room)
            for k in range(count):
                size[first + k, c] = np.hypot(room[k + U_RE], room[k + U_IM])
        for k in range(count):
            i = first + k
            inertia = 2j * np.pi * tone[k] * duct.mouth_inertance[i]
            if room[k + LARGEST] > LARGEST_SQUARE**2:
                alone, _ = exact_tube(duct, i, tone[k], size[i])
            else:
                at_mouth = complex(room[k + U_RE], room[k + U_IM])
                alone = complex(room[k + P_RE], room[k + P_IM]) / at_mouth
            impedance[i] = alone + inertia
            size[i] /= size[i, 0]
    return impedance, size
