"""The distributions and grids of a request in the unit of their field."""

from __future__ import annotations

from typing import cast

import numpy as np

from warmbranch.many.sampling import LEAST_SHARE as LEAST_SHARE
from warmbranch.many.sampling import Distribution, Lognormal, Normal, Uniform
from warmbranch_service.case.fields import CaseField
from warmbranch_service.contract.rounding import digits
from warmbranch_service.sweep.varied import Grid, NormalSpread, Spread, UniformSpread

DIGITS = 12
"""Significant digits of a value that was worked out: what is printed is what was solved."""


def distribution(spread: Spread, field: CaseField) -> Distribution:
    """The distribution, in the field's unit."""

    def number(value: float | str) -> float:
        return cast("float", field.kind.check(value))

    if isinstance(spread, UniformSpread):
        return Uniform(number(spread.low), number(spread.high))
    limits: dict[str, float] = {}
    for name in ("low", "high"):
        value = getattr(spread, name)
        if value is not None:
            limits[name] = number(value)
    if isinstance(spread, NormalSpread):
        return Normal(number(spread.mean), spread.standard_deviation, **limits)
    return Lognormal(number(spread.median), spread.log_standard_deviation, **limits)


def share_within_limits(spread: Spread, field: CaseField) -> float:
    """Probability between the limits."""
    own = distribution(spread, field)
    return own.share if isinstance(own, (Normal, Lognormal)) else 1.0


def grid_values(grid: Grid, field: CaseField) -> list[float]:
    """The values of a grid, in the field's unit."""
    low = cast("float", field.kind.check(grid.from_))
    high = cast("float", field.kind.check(grid.to))
    space = np.geomspace if grid.spacing == "logarithmic" else np.linspace
    return written(space(low, high, grid.count))


def written(values: np.ndarray) -> list[float]:
    """Values with so many digits that what is printed can be sent again."""
    return [digits(value, DIGITS) for value in values.tolist()]
