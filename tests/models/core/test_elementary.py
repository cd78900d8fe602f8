"""Logarithm and exponential of the core, against numpy's and mpmath's."""

import re
from ctypes import c_double, c_int64, c_void_p

import mpmath
import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch import core
from warmbranch.base import elementary
from warmbranch.core import build

ULP = np.finfo(np.float64).eps
# Series and sums round a few times: two units in the last place were the most seen.
CLOSE = 3 * ULP

LOG, EXP, POWER = range(3)


def _each(kind, x, exponent=0.0):
    library = core.at_hand()
    assert library is not None
    padded = np.ones(-(-len(x) // 4) * 4)
    padded[: len(x)] = x
    result = np.empty_like(padded)
    library.functions.core_elementary(
        c_int64(kind),
        c_int64(len(padded)),
        c_void_p(padded.ctypes.data),
        c_double(exponent),
        c_void_p(result.ctypes.data),
    )
    return result[: len(x)]


@pytest.fixture(scope="module")
def numbers():
    """From the least that Nusselt numbers meet (a Rayleigh number of nothing) to the largest."""
    draw = np.random.default_rng(3)
    edges = [np.finfo(np.float64).tiny, 1.0, 0.5**0.5, 2**0.5, 2.0, 1e300]
    return np.concatenate(
        [edges, np.exp(draw.uniform(-700, 700, 5000)), draw.uniform(0.4, 2, 5000)]
    )


def test_logarithm(numbers):
    # Relative but near 1, where the logarithm vanishes: there to one unit in the last place of 1.
    assert_allclose(_each(LOG, numbers), np.log(numbers), rtol=CLOSE, atol=ULP)
    assert_allclose(elementary.log(numbers), np.log(numbers), rtol=0)


def test_exponential():
    x = np.concatenate([[0.0, 1.0, -1.0, 699.0, -699.0], np.linspace(-690, 690, 10007)])
    assert_allclose(_each(EXP, x), np.exp(x), rtol=CLOSE)
    assert _each(EXP, np.array([1.0]))[0] == pytest.approx(float(mpmath.e), rel=CLOSE)


def test_powers():
    # Reynolds and Prandtl numbers: the exponent magnifies the logarithm's last place.
    x = np.exp(np.linspace(-20, 30, 4001))
    rtol = 30 * ULP
    assert_allclose(_each(POWER, x, 1 / 3), np.cbrt(x), rtol=rtol)
    assert_allclose(_each(POWER, x, 0.8), np.power(x, 0.8), rtol=rtol)


def test_the_parts_of_ln_2():
    text = (build.SOURCES / "quad.h").read_text(encoding="utf-8")
    high, low = (
        float(re.search(rf"#define LN2_{part} (\S+)", text)[1]) for part in ("HIGH", "LOW")
    )
    with mpmath.workdps(40):
        parts = mpmath.mpf(high) + mpmath.mpf(low)
        assert abs(parts - mpmath.log(2)) < 1e-25
    # The first part times any exponent is exact: its last 21 bits are zero.
    assert int(np.array(high).view(np.int64)) % 2**21 == 0
