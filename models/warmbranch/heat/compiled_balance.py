# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""The steady heat balance and its linearisation, compiled: see compiled.py and heat_balance.py."""

from __future__ import annotations

import numba
import numpy as np
from numba.extending import register_jitable

from warmbranch.base.batch import FloatArray
from warmbranch.base.compiled import LANES, ROW, Inside, Outside, Table, options, properties
from warmbranch.heat import mixing
from warmbranch.heat.compiled_outside import OUTSIDE_ROOM, outside_fluxes
from warmbranch.heat.nusselt import NUSSELT_LAMINAR

for _function in (mixing.smooth_size, mixing.counterflow):
    register_jitable(inline="always")(_function)

BLOCK = 14
"""Numbers a node: two residuals, the blocks to left (3), own (4) and right (3) node, outside."""

# Rows of the room. Of the nodes: temperatures, gas properties and slopes, ...
GAS, WALL, K, K_SLOPE, VOLUMETRIC, VOLUMETRIC_SLOPE, CP, CP_SLOPE, MU, MU_SLOPE = (
    OUTSIDE_ROOM + n * ROW for n in range(10)
)
# ... loss outside, exchange with the wall and its slopes, outer surface, share of a face, ...
LOSS, LOSS_SLOPE, EXCHANGE, TO_LEFT, TO_HERE, TO_RIGHT, SKIN_AREA, SHARE = (
    OUTSIDE_ROOM + n * ROW for n in range(10, 18)
)
# ... and of the faces, a lane later, so that lane 0 is the face before the pass.
FACE = OUTSIDE_ROOM + 18 * ROW
STEP, BUOYANT, BY_LEFT, BY_RIGHT, FLUX, FLUX_LEFT, FLUX_RIGHT = (FACE + n * ROW for n in range(7))
METAL_FLUX, METAL_LEFT, METAL_RIGHT = (FACE + n * ROW for n in range(7, 10))
FACE_ROWS = 10
ROOM = FACE + FACE_ROWS * ROW
"""Numbers of the room that :func:`balance` works in."""


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
    room: FloatArray,
    rows: FloatArray,
) -> None:
    """Residuals and blocks of design ``i`` at the given temperatures, into ``rows``.

    ``rows[n]``: gas and wall residual, W; ∂gas/∂(left gas, own gas, own wall, right gas);
    ∂wall/∂(left gas, left wall, own gas, own wall, right gas, right wall), W/K, without what is
    lost outside; then that loss and its slope after the skin's own balance is eliminated.
    ``face[:, n]``: the skin's slope and imbalance, from which ``skin_step`` follows.
    """
    nodes = len(gas)
    for row in range(FACE_ROWS):
        room[FACE + row * ROW] = 0.0
    for start in range(0, nodes, LANES):
        count = min(LANES, nodes - start)
        faces = min(count, nodes - 1 - start)
        _nodes(inside, out, grid, i, start, faces + 1, gas, wall, room)
        _faces(inside, out, i, start, faces, room)
        if faces < count:
            for row in range(FACE_ROWS):
                room[FACE + row * ROW + count] = 0.0
        outside_fluxes(
            out,
            grid,
            i,
            skin[start : start + count],
            room[LOSS : LOSS + count],
            room[LOSS_SLOPE : LOSS_SLOPE + count],
            room,
        )
        _exchange(inside, out, i, start, count, nodes, room)
        _rows(inside, i, start, count, skin, face, room, rows)
        for row in range(FACE_ROWS):
            room[FACE + row * ROW] = room[FACE + row * ROW + count]


@numba.njit(**options)
def _nodes(
    inside: Inside,
    out: Outside,
    grid: Table,
    i: int,
    start: int,
    count: int,
    gas: FloatArray,
    wall: FloatArray,
    room: FloatArray,
) -> None:
    """Gas properties at the nodes, and distances between them."""
    table = inside.gas[i]
    for k in range(count):
        hot = gas[start + k]
        cp, conductivity, mu, cp_slope, k_slope, mu_slope = properties(table, grid, hot)
        room[k + GAS], room[k + WALL] = hot, wall[start + k]
        room[k + CP], room[k + K], room[k + MU] = cp, conductivity, mu
        room[k + CP_SLOPE], room[k + K_SLOPE], room[k + MU_SLOPE] = cp_slope, k_slope, mu_slope
    per_t = out.pressure[i] / inside.gas_constant[i]
    for k in range(count):
        density = per_t / room[k + GAS]
        volumetric = density * room[k + CP]
        room[k + VOLUMETRIC] = volumetric
        room[k + VOLUMETRIC_SLOPE] = density * room[k + CP_SLOPE] - volumetric / room[k + GAS]
    x = inside.x[i]
    for k in range(count - 1):
        room[k + 1 + STEP] = x[start + k + 1] - x[start + k]


@numba.njit(**options)
def _faces(inside: Inside, out: Outside, i: int, start: int, count: int, room: FloatArray) -> None:
    """Mixing at the faces, fluxes of gas and metal through them, and their slopes."""
    bore = inside.bore[i]
    buoyancy = inside.buoyancy[i]
    if buoyancy != 0.0:
        rise = inside.rise[i]
        per_t = out.pressure[i] / inside.gas_constant[i]
        for k in range(count):
            temperature = (room[k + GAS] + room[k + 1 + GAS]) / 2
            step = room[k + 1 + STEP]
            conductivity = (room[k + K] + room[k + 1 + K]) / 2
            heat_capacity = (room[k + CP] + room[k + 1 + CP]) / 2
            viscosity = (room[k + MU] + room[k + 1 + MU]) / 2
            density = per_t / temperature
            property_slope = (
                (room[k + CP_SLOPE] + room[k + 1 + CP_SLOPE]) / 2 / heat_capacity
                - (room[k + MU_SLOPE] + room[k + 1 + MU_SLOPE]) / viscosity
                - (room[k + K_SLOPE] + room[k + 1 + K_SLOPE]) / 2 / conductivity
                - 3 / temperature
            )
            buoyant, by_gradient, by_temperature = mixing.counterflow(
                temperature,
                (room[k + 1 + GAS] - room[k + GAS]) / step,
                viscosity / density,
                conductivity / (density * heat_capacity),
                property_slope,
                bore,
                rise,
            )
            half, per_step = buoyancy * by_temperature / 2, buoyancy * by_gradient / step
            room[k + 1 + BUOYANT] = buoyancy * buoyant
            room[k + 1 + BY_LEFT] = half - per_step
            room[k + 1 + BY_RIGHT] = half + per_step
    else:
        for k in range(count):
            room[k + 1 + BUOYANT], room[k + 1 + BY_LEFT], room[k + 1 + BY_RIGHT] = 0.0, 0.0, 0.0
    bore_area = np.pi / 4 * bore * bore
    forced = inside.forced[i]
    for k in range(count):
        # The mixing takes the flux's place until the flux is known.
        room[k + 1 + FLUX] = np.sqrt(forced[start + k] * forced[start + k + 1])
    for k in range(count):
        mixed = room[k + 1 + FLUX] + room[k + 1 + BUOYANT]
        step = room[k + 1 + STEP]
        volumetric = (room[k + VOLUMETRIC] + room[k + 1 + VOLUMETRIC]) / 2
        conductivity = (room[k + K] + room[k + 1 + K]) / 2 + volumetric * mixed
        fall = -bore_area * (room[k + 1 + GAS] - room[k + GAS]) / step
        through = bore_area / step * conductivity
        own_left = (room[k + K_SLOPE] + room[k + VOLUMETRIC_SLOPE] * mixed) / 2
        own_right = (room[k + 1 + K_SLOPE] + room[k + 1 + VOLUMETRIC_SLOPE] * mixed) / 2
        room[k + 1 + FLUX] = fall * conductivity
        room[k + 1 + FLUX_LEFT] = fall * (own_left + volumetric * room[k + 1 + BY_LEFT]) + through
        room[k + 1 + FLUX_RIGHT] = (
            fall * (own_right + volumetric * room[k + 1 + BY_RIGHT]) - through
        )
    a0, a1, a2 = inside.metal[i, 0], inside.metal[i, 1], inside.metal[i, 2]
    area = inside.wall_area[i]
    for k in range(count):
        steel = (room[k + WALL] + room[k + 1 + WALL]) / 2
        metal = a0 + steel * (a1 + steel * a2)
        per_step = area / room[k + 1 + STEP]
        fall = -per_step * (room[k + 1 + WALL] - room[k + WALL])
        bent = fall * (a1 + 2 * a2 * steel) / 2
        room[k + 1 + METAL_FLUX] = fall * metal
        room[k + 1 + METAL_LEFT] = bent + per_step * metal
        room[k + 1 + METAL_RIGHT] = bent - per_step * metal


@numba.njit(**options)
def _exchange(
    inside: Inside, out: Outside, i: int, start: int, count: int, nodes: int, room: FloatArray
) -> None:
    """Film times surface, W/K, its slopes, and the outer surface."""
    bore, fixed, diameter = inside.bore[i], inside.fixed_film[i], out.diameter[i]
    ends_here = start + count == nodes
    for k in range(count):
        room[k + SHARE] = 0.5
    if start == 0:
        room[SHARE] = 1.0
    if ends_here:
        room[count - 1 + SHARE] = 1.0
    per_mixing = inside.stanton[i] / bore
    laminar = NUSSELT_LAMINAR / bore
    cap, cap_slope = fixed, 0.0
    if np.isnan(fixed):
        forced = inside.forced[i]
        for k in range(count):
            room[k + EXCHANGE] = forced[start + k]
        if ends_here:
            end = count - 1
            mixed = per_mixing * room[end + EXCHANGE]
            cap = laminar * room[end + K] + mixed * room[end + VOLUMETRIC]
            cap_slope = laminar * room[end + K_SLOPE] + mixed * room[end + VOLUMETRIC_SLOPE]
        for k in range(count):
            surface = np.pi * bore * ((room[k + STEP] + room[k + 1 + STEP]) / 2)
            share = room[k + SHARE]
            buoyant = share * (room[k + BUOYANT] + room[k + 1 + BUOYANT])
            mixed = per_mixing * (room[k + EXCHANGE] + buoyant)
            scaled = per_mixing * room[k + VOLUMETRIC] * share
            here = laminar * room[k + K_SLOPE] + room[k + VOLUMETRIC_SLOPE] * mixed
            here += scaled * (room[k + BY_RIGHT] + room[k + 1 + BY_LEFT])
            room[k + EXCHANGE] = (laminar * room[k + K] + room[k + VOLUMETRIC] * mixed) * surface
            room[k + TO_LEFT] = scaled * room[k + BY_LEFT] * surface
            room[k + TO_HERE] = here * surface
            room[k + TO_RIGHT] = scaled * room[k + 1 + BY_RIGHT] * surface
    else:
        for k in range(count):
            room[k + EXCHANGE] = fixed * np.pi * bore * ((room[k + STEP] + room[k + 1 + STEP]) / 2)
            room[k + TO_LEFT], room[k + TO_HERE], room[k + TO_RIGHT] = 0.0, 0.0, 0.0
    for k in range(count):
        room[k + SKIN_AREA] = np.pi * diameter * ((room[k + STEP] + room[k + 1 + STEP]) / 2)
    if ends_here:
        end = count - 1
        room[end + EXCHANGE] += cap * np.pi / 4 * bore * bore
        room[end + TO_HERE] += cap_slope * np.pi / 4 * bore * bore
        room[end + SKIN_AREA] += np.pi / 4 * diameter * diameter


@numba.njit(**options)
def _rows(
    inside: Inside,
    i: int,
    start: int,
    count: int,
    skin: FloatArray,
    face: FloatArray,
    room: FloatArray,
    rows: FloatArray,
) -> None:
    """What leaves each node less what enters, and the slopes of it."""
    for k in range(count):
        row = rows[start + k]
        excess = room[k + GAS] - room[k + WALL]
        exchange = room[k + EXCHANGE]
        left, right = room[k + TO_LEFT] * excess, room[k + TO_RIGHT] * excess
        here, given = room[k + TO_HERE] * excess + exchange, exchange * excess
        row[0] = room[k + 1 + FLUX] - room[k + FLUX] + given
        row[1] = room[k + 1 + METAL_FLUX] - room[k + METAL_FLUX] - given
        row[2] = left - room[k + FLUX_LEFT]
        row[3] = room[k + 1 + FLUX_LEFT] - room[k + FLUX_RIGHT] + here
        row[4] = -exchange
        row[5] = room[k + 1 + FLUX_RIGHT] + right
        row[6] = -left
        row[7] = -room[k + METAL_LEFT]
        row[8] = -here
        row[9] = room[k + 1 + METAL_LEFT] - room[k + METAL_RIGHT] + exchange
        row[10] = -right
        row[11] = room[k + 1 + METAL_RIGHT]
        row[12] = room[k + SKIN_AREA] * room[k + LOSS]
        row[13] = room[k + SKIN_AREA] * room[k + LOSS_SLOPE]
    if not np.isinf(inside.wrap_conductance[i, start]):
        for k in range(count):
            row = rows[start + k]
            conductance = inside.wrap_conductance[i, start + k]
            through = conductance * (room[k + WALL] - skin[start + k])
            loss, slope = row[12], row[13]
            part = conductance / (conductance + slope)
            row[12] = through + part * (loss - through)
            row[13] = part * slope
            face[0, start + k], face[1, start + k] = slope, loss - through


@numba.njit(**options)
def solve_blocks(rows: FloatArray, work: FloatArray, change: FloatArray) -> None:
    """Block elimination from both ends towards the middle, then back; ``change`` (2, nodes).

    Two chains of divisions that do not wait for each other take little longer than one. Without
    pivoting between blocks: each own block outweighs its neighbours, as conduction and exchange
    make it.
    """
    last = len(rows) - 1
    middle = (last + 1) // 2
    still = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)  # the mouth node's, which does not change
    left, right = still, still
    for n in range(1, middle):
        left = _towards_cap(rows[n], left)
        _put(work[n], left)
        right = _towards_mouth(rows[last + 1 - n], right)
        _put(work[last + 1 - n], right)
    if last - middle > middle - 1:
        right = _towards_mouth(rows[middle + 1], right)
        _put(work[middle + 1], right)
    row = rows[middle]
    own = _less(_own_block(row), left, row[2], row[6], row[7])
    a, b, c, d, r, s = _less(own, right, row[5], row[10], row[11])
    inverse = 1 / (a * d - b * c)
    change[0, 0], change[1, 0] = 0.0, 0.0
    change[0, middle], change[1, middle] = inverse * (d * r - b * s), inverse * (a * s - c * r)
    for n in range(middle - 1, 0, -1):
        _back(work[n], change, n, n + 1)
    for n in range(middle + 1, last + 1):
        _back(work[n], change, n, n - 1)


Six = tuple[float, float, float, float, float, float]
"""A node's own block a, b, c, d and what its residuals ask for; once it is eliminated, its block
to the one neighbour left, divided by the own, and the same of what is asked for."""


@numba.njit(inline="always", error_model="numpy")
def _towards_cap(row: FloatArray, left: Six) -> Six:
    """Leave a node no neighbour but the right one."""
    own = _less(_own_block(row), left, row[2], row[6], row[7])
    return _divided(own, row[5], row[10], row[11])


@numba.njit(inline="always", error_model="numpy")
def _towards_mouth(row: FloatArray, right: Six) -> Six:
    """Leave a node no neighbour but the left one."""
    own = _less(_own_block(row), right, row[5], row[10], row[11])
    return _divided(own, row[2], row[6], row[7])


@numba.njit(inline="always", error_model="numpy")
def _own_block(row: FloatArray) -> Six:
    return row[3], row[4], row[8], row[9] + row[13], -row[0], -(row[1] + row[12])


@numba.njit(inline="always", error_model="numpy")
def _less(own: Six, beside: Six, gas: float, by_gas: float, wall: float) -> Six:
    """Take the block [[gas, 0], [by_gas, wall]] times an eliminated neighbour from the own."""
    return (
        own[0] - gas * beside[0],
        own[1] - gas * beside[1],
        own[2] - (by_gas * beside[0] + wall * beside[2]),
        own[3] - (by_gas * beside[1] + wall * beside[3]),
        own[4] - gas * beside[4],
        own[5] - (by_gas * beside[4] + wall * beside[5]),
    )


@numba.njit(inline="always", error_model="numpy")
def _divided(own: Six, gas: float, by_gas: float, wall: float) -> Six:
    """The block [[gas, 0], [by_gas, wall]] and what is asked for, divided by the own block."""
    a, b, c, d, r, s = own
    inverse = 1 / (a * d - b * c)
    return (
        inverse * (d * gas - b * by_gas),
        -inverse * b * wall,
        inverse * (a * by_gas - c * gas),
        inverse * a * wall,
        inverse * (d * r - b * s),
        inverse * (a * s - c * r),
    )


@numba.njit(inline="always", error_model="numpy")
def _put(place: FloatArray, six: Six) -> None:
    place[0], place[1], place[2], place[3], place[4], place[5] = six


@numba.njit(inline="always", error_model="numpy")
def _back(own: FloatArray, change: FloatArray, n: int, known: int) -> None:
    gas, wall = change[0, known], change[1, known]
    change[0, n] = own[4] - own[0] * gas - own[1] * wall
    change[1, n] = own[5] - own[2] * gas - own[3] * wall
