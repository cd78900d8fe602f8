# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""Cutting temperature profiles into cells, compiled: see compiled.py and cutting.py."""

from __future__ import annotations

import numba
import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.compiled import Table, options, properties

DENSITY, COMPLIANCE, VISCOSITY, RATIO, PRANDTL = range(5)
QUANTITIES = 5
LENGTH, INERTANCE, SKEW = 5, 6, 7
COLUMNS = 8
"""Of what is returned: the five quantities' means, then these."""


@numba.njit(**options)
def at_nodes(
    table: FloatArray,
    gas_constant: float,
    grid: Table,
    temperature: FloatArray,
    pressure: float,
    values: FloatArray,
) -> None:
    """The five quantities, (5, nodes), of one design's gas."""
    for n in range(len(temperature)):
        capacity, conductivity, viscosity, _, _, _ = properties(table, grid, temperature[n])
        ratio = capacity / (capacity - gas_constant)
        values[DENSITY, n] = pressure / (gas_constant * temperature[n])
        values[COMPLIANCE, n] = 1 / (ratio * pressure)
        values[VISCOSITY, n] = viscosity
        values[RATIO, n] = ratio
        values[PRANDTL, n] = capacity * viscosity / conductivity


@numba.njit(**options)
def interval_means(values: FloatArray, growth: FloatArray, means: FloatArray) -> None:
    """:func:`cutting._interval_means` of (quantities, nodes); ``growth`` (intervals,)."""
    quantities, nodes = values.shape
    last = nodes - 2
    for q in range(quantities):
        for j in range(last + 1):
            means[q, j] = (values[q, j] + values[q, j + 1]) / 2
        if last < 2:
            continue
        for j in range(last + 1):
            left, right = min(max(j, 1), last), min(j + 1, last)
            rise = values[q, j + 1] - values[q, j]
            bend_left = values[q, left + 1] - 2 * values[q, left] + values[q, left - 1]
            bend_right = values[q, right + 1] - 2 * values[q, right] + values[q, right - 1]
            means[q, j] += (rise * growth[j] - bend_right - bend_left) / 24


@numba.njit(**options)
def cut(
    tables: FloatArray,
    gas_constants: FloatArray,
    grid: Table,
    position: FloatArray,
    temperature: FloatArray,
    pressure: FloatArray,
    inertance_ratio: FloatArray,
    cells: int,
) -> FloatArray:
    """Means over the cells of every design, (8, designs, cells).

    ``tables`` (designs or 1, pieces, 12) and ``gas_constants`` are of one mixture a design, or of
    one for all.
    """
    designs, nodes = position.shape
    intervals = nodes - 1
    per_cell = intervals // cells
    found = np.zeros((COLUMNS, designs, cells))
    values, means = np.empty((QUANTITIES, nodes)), np.empty((QUANTITIES, intervals))
    step, growth = np.empty(intervals), np.zeros(intervals)
    for i in range(designs):
        own = min(i, len(tables) - 1)
        at_nodes(tables[own], gas_constants[own], grid, temperature[i], pressure[i], values)
        for j in range(intervals):
            step[j] = position[i, j + 1] - position[i, j]
        for j in range(1, intervals - 1):
            growth[j] = (step[j + 1] - step[j - 1]) / step[j]
        if intervals > 2:
            growth[0], growth[intervals - 1] = growth[1], growth[intervals - 2]
        interval_means(values, growth, means)
        for c in range(cells):
            first, beyond = c * per_cell, (c + 1) * per_cell
            middle = (position[i, first] + position[i, beyond]) / 2
            length, inertia, spring_lever, mass_lever = 0.0, 0.0, 0.0, 0.0
            for j in range(first, beyond):
                weight = step[j] * inertance_ratio[i, j]
                arm = (position[i, j] + position[i, j + 1]) / 2 - middle
                length += step[j]
                inertia += means[DENSITY, j] * weight
                tilt = (values[COMPLIANCE, j + 1] - values[COMPLIANCE, j]) * (step[j] / 12)
                spring_lever += (means[COMPLIANCE, j] * arm + tilt) * step[j]
                tilt = (values[DENSITY, j + 1] - values[DENSITY, j]) * (step[j] / 12)
                mass_lever += (means[DENSITY, j] * arm + tilt) * weight
                for q in range(QUANTITIES):
                    found[q, i, c] += means[q, j] * step[j]
            for q in range(QUANTITIES):
                found[q, i, c] /= length
            found[LENGTH, i, c] = length
            found[INERTANCE, i, c] = inertia / length / found[DENSITY, i, c]
            skew = spring_lever / (found[COMPLIANCE, i, c] * length) - mass_lever / inertia
            found[SKEW, i, c] = skew / length
    return found
