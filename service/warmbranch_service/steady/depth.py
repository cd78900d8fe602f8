"""How much of the tone a branch keeps back at its best, as a range on the way out."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from warmbranch_service.contract.rounding import finite, places

if TYPE_CHECKING:
    from warmbranch.belief.depth import Depth


def decibels(found: Depth, i: int = 0) -> tuple[float, float] | None:
    """The range of one design, to 0.1; None where it has no bound."""
    low, high = float(found.low[i]), float(found.high[i])
    if not (math.isfinite(low) and math.isfinite(high)):
        return None
    return places(low, 1), places(high, 1)


def usual(found: Depth, i: int = 0) -> float | None:
    """By the coefficients as they stand, dB, to 0.01."""
    return finite(float(found.usual[i]), 2)


def wall_alone(found: Depth, i: int = 0) -> float | None:
    """If nothing resisted but the wall, dB, to 0.01."""
    return finite(float(found.wall_alone[i]), 2)


def in_words(best: float, low_high: tuple[float, float] | None) -> str:
    """The depth of a notch with its range, as every text tells it.

    >>> in_words(21.46, (18.4, 23.9))
    '21 dB, 90 % between 18 and 24'
    """
    if low_high is None:
        return f"{best:.0f} dB"
    return f"{best:.0f} dB, 90 % between {low_high[0]:.0f} and {low_high[1]:.0f}"
