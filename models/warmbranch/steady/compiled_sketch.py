# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""Nodes where a sketched profile bends, compiled: see compiled.py and sketch.py."""

from __future__ import annotations

import numba
import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.compiled import options


@numba.njit(**options)
def put_density(
    x: FloatArray, gas: FloatArray, wall: FloatArray, faint: float, evenness: float,
    smoothings: int, density: FloatArray,
) -> None:  # fmt: skip
    """:func:`sketch._density` of one design."""
    last = len(x) - 1
    length = x[last]
    for n in range(1, last):
        before, after = x[n] - x[n - 1], x[n + 1] - x[n]
        turn = abs((gas[n + 1] - gas[n]) / after - (gas[n] - gas[n - 1]) / before)
        turn += abs((wall[n + 1] - wall[n]) / after - (wall[n] - wall[n - 1]) / before)
        density[n] = np.sqrt(turn / (before + after) * 2 + faint / (length * length))
    for _ in range(smoothings):
        density[0], density[last] = density[1], density[last - 1]
        left = density[0]
        for n in range(1, last):
            here = density[n]
            density[n] = (left + 2 * here + density[n + 1]) / 4
            left = here
    density[0], density[last] = density[1], density[last - 1]
    mean = 0.0
    for n in range(last):
        mean += (density[n + 1] + density[n]) / 2 * (x[n + 1] - x[n])
    for n in range(last + 1):
        density[n] += evenness * mean / length


@numba.njit(**options)
def put_cubics(x: FloatArray, values: FloatArray, cubics: FloatArray) -> None:
    """Pieces of Hermite interpolation, (pieces, 4), in powers of the share of the piece."""
    last = len(x) - 1
    for j in range(last):
        step = x[j + 1] - x[j]
        cubics[j, 0], cubics[j, 1] = values[j], values[j + 1] - values[j]
        cubics[j, 2] = step
    # Slopes by the parabola through each node and its neighbours, times the piece's length.
    for j in range(last):
        step, rise = cubics[j, 2], cubics[j, 1]
        left, right = np.nan, np.nan
        if j > 0:
            before = cubics[j - 1, 3]
            left = (before * step + rise / step * (x[j] - x[j - 1])) / (x[j + 1] - x[j - 1])
        if j < last - 1:
            after = x[j + 2] - x[j + 1]
            chord = (values[j + 2] - values[j + 1]) / after
            right = (rise / step * after + chord * step) / (after + step)
        if j == 0:
            left = 2 * rise / step - right
        if j == last - 1:
            right = 2 * rise / step - left
        cubics[j, 3] = rise / step  # the next piece looks back at it
        cubics[j, 1], cubics[j, 2] = left, right
    for j in range(last):
        left, right, chord = cubics[j, 1], cubics[j, 2], cubics[j, 3]
        cubics[j, 2], cubics[j, 3] = 3 * chord - 2 * left - right, left + right - 2 * chord


@numba.njit(**options)
def refined(
    x: FloatArray, gas: FloatArray, wall: FloatArray, skin: FloatArray, nodes: int,
    cap_crowding: FloatArray, faint: float, evenness: float, smoothings: int,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:  # fmt: skip
    """:func:`sketch.refined`."""
    designs, few = x.shape
    position, warm = np.empty((designs, nodes)), np.empty((3, designs, nodes))
    density, cubics = np.empty(few), np.empty((3, few - 1, 4))
    for i in range(designs):
        put_density(x[i], gas[i], wall[i], faint, evenness, smoothings, density)
        density[few - 1] *= cap_crowding[i]
        put_cubics(x[i], gas[i], cubics[0])
        put_cubics(x[i], wall[i], cubics[1])
        put_cubics(x[i], skin[i], cubics[2])
        total = 0.0
        for j in range(few - 1):
            total += (density[j + 1] + density[j]) / 2 * (x[i, j + 1] - x[i, j])
        j, passed = 0, 0.0
        step = x[i, 1] - x[i, 0]
        within = (density[1] + density[0]) / 2 * step
        for n in range(nodes):
            wanted = total * n / (nodes - 1)
            while j < few - 2 and wanted >= passed + within:
                j, passed = j + 1, passed + within
                step = x[i, j + 1] - x[i, j]
                within = (density[j + 1] + density[j]) / 2 * step
            rest, here = wanted - passed, density[j]
            curvature = 2 * (density[j + 1] - here) / step
            run = 2 * rest / (here + np.sqrt(here * here + curvature * rest))
            share = run / step
            position[i, n] = x[i, j] + run
            for k in range(3):
                c = cubics[k, j]
                warm[k, i, n] = c[0] + run * (c[1] + share * (c[2] + share * c[3]))
        position[i, 0], position[i, nodes - 1] = x[i, 0], x[i, few - 1]
    return position, warm[0], warm[1], warm[2]
