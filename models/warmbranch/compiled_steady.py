# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""Newton's method on the steady heat balance, compiled: see compiled.py."""

from __future__ import annotations

import numba
import numpy as np

from warmbranch.batch import FloatArray, IntArray
from warmbranch.compiled import Inside, Outside, Table, options
from warmbranch.compiled_balance import BLOCK, ROOM, balance, solve_blocks


@numba.njit(**options)
def skin_step(inside: Inside, i: int, n: int, face: FloatArray, wall_change: float) -> float:
    """Change of the skin's temperature that goes with the wall's."""
    conductance = inside.wrap_conductance[i, n]
    if np.isinf(conductance):
        return wall_change
    return (conductance * wall_change - face[n, 4]) / (conductance + face[n, 3])


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
    face, room = np.zeros((nodes, 5)), np.zeros(ROOM)
    rows, work, change = np.zeros((nodes, BLOCK)), np.zeros((nodes, 6)), np.zeros((nodes, 3))
    report = np.zeros((designs, 5))
    for i in range(designs):
        if stop[0] != 0:
            break  # the caller tells: see stopping.py
        largest = np.inf
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
            if largest < rounding_step[i] or (
                largest < step_tolerance and imbalance < imbalance_tolerance
            ):
                report[i, 4] = 0.0
                break
            solve_blocks(rows, work, change)
            largest = 0.0
            for n in range(nodes):
                change[n, 2] = skin_step(inside, i, n, face, change[n, 1])
                for k in range(3):
                    largest = max(largest, abs(change[n, k]))
            part = 0.5 if iteration >= undamped and largest > undamped_step else 1.0
            for n in range(nodes):
                gas[i, n] = min(max(gas[i, n] + part * change[n, 0], low[i]), high[i])
                wall[i, n] = min(max(wall[i, n] + part * change[n, 1], low[i]), high[i])
                skin[i, n] = min(max(skin[i, n] + part * change[n, 2], low[i]), high[i])
    return report
