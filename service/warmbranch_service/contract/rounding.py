"""Rounding on the way out: never to hide anything, always to what a number can mean."""

from __future__ import annotations

import math

import numpy as np

from warmbranch.base.batch import RealArray


def places(value: float, count: int) -> float:
    """A finite number to so many decimal places; no minus zero."""
    return round(float(value), count) + 0.0


def finite(value: float, count: int) -> float | None:
    """The same, or None where there is no number."""
    return places(value, count) if math.isfinite(value) else None


def digits(value: float, count: int) -> float:
    """A finite number to so many significant digits; no minus zero."""
    return float(f"{float(value):.{count}g}") + 0.0


def each(values: RealArray, count: int) -> list[float]:
    """A list of finite numbers to so many decimal places."""
    return (np.round(values, count) + 0.0).tolist()
