# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""Newton's method on the steady heat balance, compiled: see compiled.py."""

from __future__ import annotations

import numba
import numpy as np

from warmbranch import mixing
from warmbranch.batch import FloatArray
from warmbranch.compiled import Inside, Outside, Table, options, outside_flux, properties
from warmbranch.nusselt import NUSSELT_LAMINAR

BLOCK = 14
"""Numbers a node: two residuals, the blocks to left (3), own (4) and right (3) node, outside."""


@numba.njit(**options)
def balance(
    inside: Inside,
    out: Outside,
    grid: Table,
    i: int,
    gas: FloatArray,
    wall: FloatArray,
    skin: FloatArray,
    face: FloatArray,
    node: FloatArray,
    rows: FloatArray,
) -> None:
    """Residuals and blocks of design ``i`` at the given temperatures, into ``rows``.

    ``rows[n]``: gas and wall residual, W; ∂gas/∂(left gas, own gas, own wall, right gas);
    ∂wall/∂(left gas, left wall, own gas, own wall, right gas, right wall), W/K, without what is
    lost outside; then that loss and its slope after the skin's own balance is eliminated, and
    the skin's slope and imbalance, from which ``skin_step`` follows.
    """
    x = inside.x[i]
    last = len(x) - 1
    bore = inside.bore[i]
    bore_area = np.pi / 4 * bore * bore
    wall_area = inside.wall_area[i]
    per_t = out.pressure[i] / inside.gas_constant[i]
    table = inside.gas[i]
    buoyancy = inside.buoyancy[i]
    rows[:] = 0.0
    for n in range(last + 1):
        cp, k, mu, cp_slope, k_slope, mu_slope = properties(table, grid, gas[n])
        density = per_t / gas[n]
        node[n, 0], node[n, 1] = k, k_slope
        node[n, 2] = density * cp
        node[n, 3] = density * cp_slope - node[n, 2] / gas[n]
        node[n, 4], node[n, 5], node[n, 6], node[n, 7] = cp, cp_slope, mu, mu_slope
    a0, a1, a2 = inside.metal[i, 0], inside.metal[i, 1], inside.metal[i, 2]
    for f in range(last):
        step = x[f + 1] - x[f]
        gradient = (gas[f + 1] - gas[f]) / step
        left, right = node[f], node[f + 1]
        forced = (inside.forced[i, f] + inside.forced[i, f + 1]) / 2
        buoyant, by_gradient, by_temperature = 0.0, 0.0, 0.0
        if buoyancy != 0.0:
            temperature = (gas[f] + gas[f + 1]) / 2
            conductivity = (left[0] + right[0]) / 2
            conductivity_slope = (left[1] + right[1]) / 2
            heat_capacity = (left[4] + right[4]) / 2
            viscosity = (left[6] + right[6]) / 2
            density = per_t / temperature
            property_slope = (
                (left[5] + right[5]) / 2 / heat_capacity
                - (left[7] + right[7]) / viscosity
                - conductivity_slope / conductivity
                - 3 / temperature
            )
            buoyant, by_gradient, by_temperature = mixing.counterflow(
                temperature,
                gradient,
                viscosity / density,
                conductivity / (density * heat_capacity),
                property_slope,
                bore,
                inside.rise[i],
            )
            buoyant *= buoyancy
            by_gradient *= buoyancy
            by_temperature *= buoyancy
        mixed = forced + buoyant
        by_left = by_temperature / 2 - by_gradient / step
        by_right = by_temperature / 2 + by_gradient / step
        face[f, 0], face[f, 1], face[f, 2] = buoyant, by_left, by_right
        volumetric = (left[2] + right[2]) / 2
        conductivity = (left[0] + right[0]) / 2 + volumetric * mixed
        fall, through = -bore_area * gradient, bore_area / step * conductivity
        flux = fall * conductivity
        flux_left = fall * ((left[1] + left[3] * mixed) / 2 + volumetric * by_left) + through
        flux_right = fall * ((right[1] + right[3] * mixed) / 2 + volumetric * by_right) - through
        rows[f, 0] += flux
        rows[f + 1, 0] -= flux
        rows[f, 3] += flux_left
        rows[f, 5] += flux_right
        rows[f + 1, 2] -= flux_left
        rows[f + 1, 3] -= flux_right
        steel = (wall[f] + wall[f + 1]) / 2
        metal = a0 + steel * (a1 + steel * a2)
        wall_fall = -wall_area * (wall[f + 1] - wall[f]) / step
        bent = wall_fall * (a1 + 2 * a2 * steel) / 2
        wall_through = wall_area / step * metal
        rows[f, 1] += wall_fall * metal
        rows[f + 1, 1] -= wall_fall * metal
        rows[f, 9] += bent + wall_through
        rows[f, 11] += bent - wall_through
        rows[f + 1, 7] -= bent + wall_through
        rows[f + 1, 9] -= bent - wall_through
    _exchange(inside, out, grid, i, gas, wall, skin, face, node, rows)


@numba.njit(**options)
def _exchange(
    inside: Inside,
    out: Outside,
    grid: Table,
    i: int,
    gas: FloatArray,
    wall: FloatArray,
    skin: FloatArray,
    face: FloatArray,
    node: FloatArray,
    rows: FloatArray,
) -> None:
    """Add heat from gas to wall and from wall to the outside."""
    x = inside.x[i]
    last = len(x) - 1
    bore, fixed = inside.bore[i], inside.fixed_film[i]
    per_mixing = inside.stanton[i] / bore
    diameter = out.diameter[i]
    for n in range(last + 1):
        before = x[n] - x[n - 1] if n > 0 else 0.0
        behind = x[n + 1] - x[n] if n < last else 0.0
        width = (before + behind) / 2
        surface = np.pi * bore * width
        share = 1.0 if n == 0 or n == last else 0.5
        buoyant = 0.0
        by_left, by_here, by_right = 0.0, 0.0, 0.0
        if n > 0:
            buoyant += share * face[n - 1, 0]
            by_left += share * face[n - 1, 1]
            by_here += share * face[n - 1, 2]
        if n < last:
            buoyant += share * face[n, 0]
            by_here += share * face[n, 1]
            by_right += share * face[n, 2]
        own = node[n]
        mixed = inside.forced[i, n] + buoyant
        scaled = per_mixing * own[2]
        if np.isnan(fixed):
            film = NUSSELT_LAMINAR * own[0] / bore + scaled * mixed
            here = NUSSELT_LAMINAR * own[1] / bore + per_mixing * own[3] * mixed
            cap, cap_slope = film - scaled * buoyant, here - per_mixing * own[3] * buoyant
            left, here, right = scaled * by_left, here + scaled * by_here, scaled * by_right
        else:
            film, cap = fixed, fixed
            left, here, right, cap_slope = 0.0, 0.0, 0.0, 0.0
        exchange, here = film * surface, here * surface
        skin_area = np.pi * diameter * width
        if n == last:
            exchange += cap * np.pi / 4 * bore * bore
            here += cap_slope * np.pi / 4 * bore * bore
            skin_area += np.pi / 4 * diameter * diameter
        excess = gas[n] - wall[n]
        given = exchange * excess
        given_here = here * excess + exchange
        row = rows[n]
        row[0] += given
        row[2] += left * surface * excess
        row[3] += given_here
        row[4] -= exchange
        row[5] += right * surface * excess
        row[1] -= given
        row[6] -= left * surface * excess
        row[8] -= given_here
        row[9] += exchange
        row[10] -= right * surface * excess
        flux, slope = outside_flux(out, grid, i, skin[n])
        loss, loss_slope = skin_area * flux, skin_area * slope
        conductance = inside.wrap_conductance[i, n]
        if np.isinf(conductance):
            row[12], row[13] = loss, loss_slope
        else:
            through = conductance * (wall[n] - skin[n])
            part = conductance / (conductance + loss_slope)
            row[12] = through + part * (loss - through)
            row[13] = part * loss_slope
            face[n, 3], face[n, 4] = loss_slope, loss - through


@numba.njit(**options)
def solve_blocks(rows: FloatArray, work: FloatArray, change: FloatArray) -> None:
    """Block elimination from the mouth's neighbour to the cap, then back; ``change`` (nodes, 2).

    Without pivoting between blocks: each own block outweighs its neighbours, as conduction and
    exchange make it.
    """
    last = len(rows) - 1
    for n in range(1, last + 1):
        row = rows[n]
        a, b = row[3], row[4]
        c, d = row[8], row[9] + row[13]
        r, s = -row[0], -(row[1] + row[12])
        if n > 1:
            up = work[n - 1]
            # Left block [[row2, 0], [row6, row7]] times the eliminated neighbour's blocks.
            a -= row[2] * up[0]
            b -= row[2] * up[1]
            c -= row[6] * up[0] + row[7] * up[2]
            d -= row[6] * up[1] + row[7] * up[3]
            r -= row[2] * up[4]
            s -= row[6] * up[4] + row[7] * up[5]
        inverse = 1 / (a * d - b * c)
        own = work[n]
        # Right block [[row5, 0], [row10, row11]].
        own[0] = inverse * (d * row[5] - b * row[10])
        own[1] = -inverse * b * row[11]
        own[2] = inverse * (a * row[10] - c * row[5])
        own[3] = inverse * a * row[11]
        own[4] = inverse * (d * r - b * s)
        own[5] = inverse * (a * s - c * r)
    change[0, 0], change[0, 1] = 0.0, 0.0
    change[last, 0], change[last, 1] = work[last, 4], work[last, 5]
    for n in range(last - 1, 0, -1):
        own, behind = work[n], change[n + 1]
        change[n, 0] = own[4] - own[0] * behind[0] - own[1] * behind[1]
        change[n, 1] = own[5] - own[2] * behind[0] - own[3] * behind[1]


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
) -> FloatArray:
    """Solve in place; (designs, 5): heat by gas, by wall, lost, iterations, last step."""
    designs, nodes = gas.shape
    face, node = np.zeros((nodes, 5)), np.zeros((nodes, 8))
    rows, work, change = np.zeros((nodes, BLOCK)), np.zeros((nodes, 6)), np.zeros((nodes, 3))
    report = np.zeros((designs, 5))
    for i in range(designs):
        largest = np.inf
        for iteration in range(most + 1):
            balance(inside, out, grid, i, gas[i], wall[i], skin[i], face, node, rows)
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
