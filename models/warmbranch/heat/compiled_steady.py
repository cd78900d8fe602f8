# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""Newton's method on the steady heat balance, compiled: see compiled.py."""

from __future__ import annotations

import numba
import numpy as np

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.base.compiled import Inside, Outside, Table, options
from warmbranch.heat.compiled_balance import BLOCK, ROOM, balance, solve_blocks


@numba.njit(**options)
def skin_step(inside: Inside, i: int, n: int, face: FloatArray, wall_change: float) -> float:
    """Change of the skin's temperature that goes with the wall's."""
    conductance = inside.wrap_conductance[i, n]
    if np.isinf(conductance):
        return wall_change
    return (conductance * wall_change - face[1, n]) / (conductance + face[0, n])


@numba.njit(**options)
def skin_steps(inside: Inside, i: int, face: FloatArray, change: FloatArray) -> None:
    """:func:`skin_step` of all nodes, into ``change[2]``."""
    if np.isinf(inside.wrap_conductance[i, 0]):
        change[2] = change[1]
        return
    conductance = inside.wrap_conductance[i]
    for n in range(len(conductance)):
        through = conductance[n] * change[1, n] - face[1, n]
        change[2, n] = through / (conductance[n] + face[0, n])


@numba.njit(**options)
def largest_size(change: FloatArray) -> float:
    """Largest size of any change. Four at a time, for a maximum waits for the one before."""
    flat = change.ravel()
    whole = len(flat) // 4 * 4
    a, b, c, d = 0.0, 0.0, 0.0, 0.0
    for n in range(0, whole, 4):
        a, b = max(a, abs(flat[n])), max(b, abs(flat[n + 1]))
        c, d = max(c, abs(flat[n + 2])), max(d, abs(flat[n + 3]))
    for n in range(whole, len(flat)):
        a = max(a, abs(flat[n]))
    return max(max(a, b), max(c, d))


@numba.njit(**options)
def move(here: FloatArray, change: FloatArray, part: float, low: float, high: float) -> None:
    """Take part of a step, within bounds."""
    for n in range(len(here)):
        here[n] = min(max(here[n] + part * change[n], low), high)


@numba.njit(**options)
def newton(
    inside: Inside,
    out: Outside,
    grid: Table,
    gas: FloatArray,
    wall: FloatArray,
    skin: FloatArray,
    low: FloatArray,
    high: FloatArray,
    step_tolerance: float,
    left_tolerance: float,
    imbalance_tolerance: float,
    rounding_step: FloatArray,
    smallest_heat: float,
    undamped: int,
    undamped_step: float,
    most: int,
    stop: IntArray,
) -> FloatArray:
    """Solve in place; (designs, 5): heat by gas, by wall, lost, iterations, last step."""
    designs, nodes = gas.shape
    face, room = np.zeros((2, nodes)), np.zeros(ROOM)
    rows, work, change = np.zeros((nodes, BLOCK)), np.zeros((nodes, 6)), np.zeros((3, nodes))
    report = np.zeros((designs, 5))
    for i in range(designs):
        if stop[0] != 0:
            break  # the caller tells: see stopping.py
        largest, before = np.inf, 0.0
        for iteration in range(most + 1):
            balance(inside, out, grid, i, gas[i], wall[i], skin[i], face, room, rows)
            by_gas, by_wall = rows[0, 0], rows[0, 1] + rows[0, 12]
            lost, moved, amiss = 0.0, 0.0, 0.0
            for n in range(nodes):
                lost += rows[n, 12]
                moved += abs(rows[n, 12])
                if n > 0:
                    amiss += abs(rows[n, 0]) + abs(rows[n, 1] + rows[n, 12])
            imbalance = amiss / (abs(by_gas) + abs(by_wall) + moved + smallest_heat)
            report[i, 0], report[i, 1], report[i, 2] = by_gas, by_wall, lost
            report[i, 3], report[i, 4] = iteration, largest
            close = largest < step_tolerance or largest**3 < left_tolerance * before**2
            if largest < rounding_step[i] or (close and imbalance < imbalance_tolerance):
                report[i, 4] = 0.0
                break
            solve_blocks(rows, work, change)
            skin_steps(inside, i, face, change)
            before = 0.0 if np.isinf(largest) else largest
            largest = largest_size(change)
            part = 0.5 if iteration >= undamped and largest > undamped_step else 1.0
            move(gas[i], change[0], part, low[i], high[i])
            move(wall[i], change[1], part, low[i], high[i])
            move(skin[i], change[2], part, low[i], high[i])
    return report
