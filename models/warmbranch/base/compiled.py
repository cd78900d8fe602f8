# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""The hot loops, compiled: one design after another, one node after another.

The same equations as heat_balance.py and banded.py, term by term, in the form that a compiler
wants; the elementwise physics (Nusselt numbers, counterflow, wall layers) is not written again
but compiled from its own module. tests/models/base/test_compiled.py holds both paths to each other.
Import this module only through kernel.py: it costs a second, and minutes are saved by it.

Where time is spent, loops are passes over at most ``LANES`` nodes or frequencies, without branch
or call, between rows of one flat room: at constant distances in it the compiler sees that no row
overlaps another, and handles several numbers at once.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba

from warmbranch.base.batch import FloatArray

LANES = 64
"""Numbers that a pass works on: few enough for the processor's first cache."""

ROW = LANES + 8
"""Distance between the rows of a room: ``LANES``, and a neighbour at each end."""

options: dict[str, Any] = {
    "cache": True,
    "nogil": True,
    "error_model": "numpy",
    "fastmath": {"contract"},
}


class Outside(NamedTuple):
    """What is outside of each tube; every array (designs,) but the air's table (pieces, 12)."""

    air: FloatArray
    air_gas_constant: float
    air_temperature: FloatArray
    radiant_temperature: FloatArray
    pressure: FloatArray
    air_speed: FloatArray
    diameter: FloatArray
    length: FloatArray
    rise: FloatArray
    factor: FloatArray
    fixed: FloatArray
    emissivity: FloatArray


class Inside(NamedTuple):
    """The branch itself; (designs,) but for the tables (designs, pieces, 12), x and forced."""

    gas: FloatArray
    gas_constant: FloatArray
    x: FloatArray
    forced: FloatArray
    bore: FloatArray
    wall_area: FloatArray
    rise: FloatArray
    buoyancy: FloatArray
    stanton: FloatArray
    fixed_film: FloatArray
    metal: FloatArray
    wrap_conductance: FloatArray


class Table(NamedTuple):
    """Lowest temperature and step of the property tables, K."""

    first: float
    step: float


@numba.njit(**options)
def properties(table: FloatArray, grid: Table, temperature: float) -> tuple[float, ...]:
    """c_p, k, μ and their slopes from one mixture's table (pieces, 12)."""
    local = temperature - grid.first
    piece = min(max(int(local / grid.step), 0), table.shape[0] - 1)
    local -= piece * grid.step
    c = table[piece]
    return (
        ((c[3] * local + c[2]) * local + c[1]) * local + c[0],
        ((c[7] * local + c[6]) * local + c[5]) * local + c[4],
        ((c[11] * local + c[10]) * local + c[9]) * local + c[8],
        (3 * c[3] * local + 2 * c[2]) * local + c[1],
        (3 * c[7] * local + 2 * c[6]) * local + c[5],
        (3 * c[11] * local + 2 * c[10]) * local + c[9],
    )
