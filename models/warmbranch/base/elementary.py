"""Logarithm, exponential and powers of the elementwise physics, numpy's by another name.

The core has its own, polynomials that a compiler can apply to several numbers at once
(core/quad.h); both agree to rounding.
"""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray


def log(x: FloatArray) -> FloatArray:
    """Natural logarithm, ``x > 0``."""
    return np.log(x)


def exp(x: FloatArray) -> FloatArray:
    """Exponential, ``|x| < 700``."""
    return np.exp(x)


def third_root(x: FloatArray) -> FloatArray:
    """Cube root, ``x > 0``."""
    return np.cbrt(x)


def power(x: FloatArray, exponent: float) -> FloatArray:
    """``x`` to the power of ``exponent``, ``x > 0``."""
    return np.power(x, exponent)
