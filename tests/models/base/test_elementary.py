"""Logarithm and exponential of the compiled loops, against numpy's and mpmath's."""

import mpmath
import numba
import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.base import compiled_elementary, elementary

ULP = np.finfo(np.float64).eps
# Series and sums round a few times: two units in the last place were the most seen.
CLOSE = 3 * ULP


@numba.njit
def _each(kind, x, exponent):
    result = np.empty_like(x)
    for n in range(len(x)):
        if kind == 0:
            result[n] = elementary.log(x[n])
        elif kind == 1:
            result[n] = elementary.exp(x[n])
        elif kind == 2:
            result[n] = elementary.third_root(x[n])
        else:
            result[n] = elementary.power(x[n], exponent)
    return result


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
    assert_allclose(_each(0, numbers, 0.0), np.log(numbers), rtol=CLOSE, atol=ULP)
    assert_allclose(elementary.log(numbers), np.log(numbers), rtol=0)


def test_exponential():
    x = np.concatenate([[0.0, 1.0, -1.0, 699.0, -699.0], np.linspace(-690, 690, 10007)])
    assert_allclose(_each(1, x, 0.0), np.exp(x), rtol=CLOSE)
    assert _each(1, np.array([1.0]), 0.0)[0] == pytest.approx(float(mpmath.e), rel=CLOSE)


def test_powers():
    # Reynolds and Prandtl numbers: the exponent magnifies the logarithm's last place.
    x = np.exp(np.linspace(-20, 30, 4001))
    rtol = 30 * ULP
    assert_allclose(_each(2, x, 0.0), np.cbrt(x), rtol=rtol)
    assert_allclose(_each(3, x, 0.8), np.power(x, 0.8), rtol=rtol)


def test_the_parts_of_ln_2():
    with mpmath.workdps(40):
        parts = mpmath.mpf(compiled_elementary.LN2_HIGH) + mpmath.mpf(compiled_elementary.LN2_LOW)
        assert abs(parts - mpmath.log(2)) < 1e-25
    # The first part times any exponent is exact: its last 21 bits are zero.
    bits = int(np.array(compiled_elementary.LN2_HIGH).view(np.int64))
    assert bits % 2**21 == 0
