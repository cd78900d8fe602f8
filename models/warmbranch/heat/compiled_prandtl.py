# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""What the outside films make of air's Prandtl number, as short power series.

Air's Prandtl number hardly changes, and the correlations' roots and powers of it are smooth: a
polynomial is as good as they and several times quicker. Within 1e-14 of nusselt_forms.py between
``LOWEST`` and ``HIGHEST``, which hold all of the table of dry air, by test.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numba
import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.heat import nusselt_forms as forms

LOWEST, HIGHEST = 0.70, 0.76
"""Prandtl numbers for which the series are made."""

DEGREE = 9


def coefficients(function: Callable[[FloatArray], FloatArray]) -> list[float]:
    """Of the Chebyshev interpolant's powers of :func:`place`, lowest first."""
    nodes = np.polynomial.chebyshev.chebpts1(DEGREE + 1)
    prandtl = LOWEST + (nodes + 1) / 2 * (HIGHEST - LOWEST)
    series = np.polynomial.chebyshev.chebfit(nodes, function(prandtl), DEGREE)
    powers = np.polynomial.chebyshev.cheb2poly(series)
    return [*powers.tolist(), *[0.0] * (DEGREE + 1 - len(powers))]


@numba.njit(inline="always", error_model="numpy")
def place(prandtl: float) -> float:
    """−1 at the lowest Prandtl number, 1 at the highest."""
    return (prandtl - 0.5 * (LOWEST + HIGHEST)) * (2 / (HIGHEST - LOWEST))


def _series(function: Callable[[FloatArray], FloatArray]) -> Any:
    c0, c1, c2, c3, c4, c5, c6, c7, c8, c9 = coefficients(function)

    @numba.njit(inline="always", error_model="numpy")
    def series(t: float) -> float:
        high = (((c9 * t + c8) * t + c7) * t + c6) * t + c5
        return ((((high * t + c4) * t + c3) * t + c2) * t + c1) * t + c0

    return series


def _part(function: Callable[..., tuple[FloatArray, ...]], part: int) -> Any:
    return _series(lambda prandtl: function(prandtl)[part])


_level = partial(forms.natural_factors, constant=forms.LEVEL_PRANDTL)
_plate = partial(forms.natural_factors, constant=forms.PLATE_PRANDTL)
level_value, level_slope = (_part(_level, n) for n in range(2))
plate_value, plate_slope = (_part(_plate, n) for n in range(2))
strength, strength_slope, exponent, exponent_slope = (
    _part(forms.curvature_factors, n) for n in range(4)
)
cross_value, cross_slope = (_part(forms.cross_flow_factors, n) for n in range(2))
