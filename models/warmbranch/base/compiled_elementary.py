# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# pyright: reportCallIssue=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""Logarithm and exponential that a compiler can apply to several numbers at once.

The library's own are calls, one number each, and a loop with a call in it is not vectorised.
These have no branch and no call: the number is parted into its exponent and its fraction, and
the fraction goes into a series whose coefficients are exact. They replace the functions of
elementary.py in compiled code; within 2 units in the last place of numpy's, see
tests/models/base/test_elementary.py.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np
from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic, overload

from warmbranch.base import elementary

inlined: dict[str, Any] = {"inline": "always", "error_model": "numpy"}

FRACTION_BITS = 52
EXPONENT_BIAS = 1023
SMALLEST_FRACTION = int(np.array(np.sqrt(0.5)).view(np.int64))
"""Fractions run from √½ to √2, round 1, where the logarithm's series is shortest."""

LN2_HIGH, LN2_LOW = 6.93147180369123816490e-01, 1.90821492927058770002e-10
"""ln 2 in two parts, the first with enough zeros behind to be multiplied without rounding: from
the source of fdlibm, from memory; their sum is checked in the test."""

LOG2_E = 1.4426950408889634


@intrinsic
def bits_of(typingctx, number):
    """The 64 bits of a float as an integer."""

    def generate(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], ir.IntType(64))

    return types.int64(types.float64), generate


@intrinsic
def number_of(typingctx, bits):
    """The float whose 64 bits are given."""

    def generate(context, builder, signature, arguments):
        return builder.bitcast(arguments[0], ir.DoubleType())

    return types.float64(types.int64), generate


@numba.njit(**inlined)
def log(x: float) -> float:
    """Natural logarithm of a normal number > 0."""
    bits = bits_of(x)
    exponent = (bits - SMALLEST_FRACTION) >> FRACTION_BITS
    fraction = number_of(bits - (exponent << FRACTION_BITS))
    # ln f = 2 artanh s = 2 (s + s³/3 + s⁵/5 + …), |s| < 0.172
    s = (fraction - 1) / (fraction + 1)
    z = s * s
    tail = z * (1 / 21) + 1 / 19
    tail = tail * z + 1 / 17
    tail = tail * z + 1 / 15
    tail = tail * z + 1 / 13
    tail = tail * z + 1 / 11
    tail = tail * z + 1 / 9
    tail = tail * z + 1 / 7
    tail = tail * z + 1 / 5
    tail = tail * z + 1 / 3
    whole = float(exponent)
    twice = s + s
    return whole * LN2_HIGH + (twice + (twice * z * tail + whole * LN2_LOW))


@numba.njit(**inlined)
def exp(x: float) -> float:
    """Exponential, |x| < 700."""
    whole = np.floor(x * LOG2_E + 0.5)
    rest = (x - whole * LN2_HIGH) - whole * LN2_LOW
    # 1 + r + r²/2! + …, |r| < 0.347
    p = rest * (1 / 6227020800) + 1 / 479001600
    p = p * rest + 1 / 39916800
    p = p * rest + 1 / 3628800
    p = p * rest + 1 / 362880
    p = p * rest + 1 / 40320
    p = p * rest + 1 / 5040
    p = p * rest + 1 / 720
    p = p * rest + 1 / 120
    p = p * rest + 1 / 24
    p = p * rest + 1 / 6
    p = p * rest + 1 / 2
    p = p * rest + 1
    p = p * rest + 1
    return p * number_of((np.int64(whole) + EXPONENT_BIAS) << FRACTION_BITS)


@overload(elementary.log, inline="always")
def _log(x):
    return lambda x: log(x)


@overload(elementary.exp, inline="always")
def _exp(x):
    return lambda x: exp(x)


@overload(elementary.third_root, inline="always")
def _third_root(x):
    return lambda x: exp(log(x) * (1 / 3))


@overload(elementary.power, inline="always")
def _power(x, exponent):
    return lambda x, exponent: exp(log(x) * exponent)
