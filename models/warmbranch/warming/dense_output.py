"""Within and beyond a step of the warm-up: interpolation between the stages.

Plain functions of arrays; the same in C: core/warm_up.c.
"""

from __future__ import annotations

from warmbranch.base.batch import FloatArray
from warmbranch.warming.storage import Store, wall_capacity

GAMMA = 1767732205903 / 4055673282236

STAGE_TIMES = (0.0, 2 * GAMMA, 0.6, 1.0)

GAS, WALL, SKIN, DRIED = range(4)
"""Rows of an array (4, nodes): temperatures, K, and water that a mole of gas has lost, mol/mol."""


def lagrange(
    first: FloatArray,
    second: FloatArray,
    third: FloatArray,
    at: tuple[float, float, float],
    t: float,
) -> FloatArray:
    """Parabola through three arrays at the times ``at``."""
    a, b, c = at
    of_first = (t - b) * (t - c) / ((a - b) * (a - c))
    of_second = (t - a) * (t - c) / ((b - a) * (b - c))
    return of_first * first + of_second * second + (1 - of_first - of_second) * third


def between(
    store: Store,
    i: int,
    share: float,
    length: float,
    hot: float,
    stage: FloatArray,
    slope: FloatArray,
    output: FloatArray,
) -> None:
    """Temperatures within a step: Hermite's cubic for what stores heat, the stages' for the gas.

    Where the mouth does not resist, the gas's is then set right by what it misses of the known
    temperature ``hot``, in proportion to how far the gas still is from the wall.
    """
    nodes = stage.shape[2]
    a, b = STAGE_TIMES[2], STAGE_TIMES[1]
    of_end = share * (share - a) * (share - b) / ((1 - a) * (1 - b))
    of_first = share * (share - b) * (share - 1) / (a * (a - b) * (a - 1))
    of_second = share * (share - a) * (share - 1) / (b * (b - a) * (b - 1))
    of_start = 1 - of_end - of_first - of_second
    for n in range(nodes):
        for part in (GAS, DRIED):
            output[part, n] = (
                of_start * stage[0, part, n]
                + of_first * stage[2, part, n]
                + of_second * stage[1, part, n]
                + of_end * stage[3, part, n]
            )
        for part in (WALL, SKIN):
            begin, end = stage[0, part, n], stage[3, part, n]
            if part == WALL or store.wrap_skin[i, n] == 0:
                first = slope[0, 0, n] / wall_capacity(store, i, n, stage[0, WALL, n])
                last = slope[3, 0, n] / wall_capacity(store, i, n, stage[3, WALL, n])
            else:
                first = slope[0, 1, n] / store.wrap_skin[i, n]
                last = slope[3, 1, n] / store.wrap_skin[i, n]
            output[part, n] = begin + share * (
                length * first
                + share
                * (
                    3 * (end - begin)
                    - length * (2 * first + last)
                    + share * (2 * (begin - end) + length * (first + last))
                )
            )
    if store.resists[i]:
        return
    missed, drop = hot - output[GAS, 0], output[GAS, 0] - output[WALL, 0]
    for n in range(nodes):
        shape = store.fall[i, n]
        if abs(drop) > 20 * abs(missed):
            # Where the gas lies between the wall and what it was at the mouth.
            shape = min(max((output[GAS, n] - output[WALL, n]) / drop, 0.0), 1.0)
        output[GAS, n] += missed * shape
