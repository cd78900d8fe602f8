"""How wide the notch of a branch is, and how tall, against its bore."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.steady.answer import Answer

LEVELS = (3.0, 6.0, 10.0)
"""dB. Losses at which the width is usually told."""

LOWEST, HIGHEST = 0.05, 1.9
"""Tones searched, over the resonance: the transmission loss falls to nothing at zero and towards
the tone at which the branch is half a wave."""

LOOKS = 120

CLOSER_LOOKS = 33
"""Between two looks; a straight line between two of these is off by some 1e-7 of the tone."""


class LossBand(NamedTuple):
    """Where the transmission loss is at least so much.

    Parameters
    ----------
    level : (levels,) array, dB
    low, high : (designs, levels) array, Hz
        Edges around the first resonance; NaN where the loss does not reach the level, or does not
        fall below it within the range searched.
    peak : (designs,) array, dB
        At the first resonance; infinite without losses.
    """

    level: FloatArray
    low: FloatArray
    high: FloatArray
    peak: FloatArray

    @property
    def width(self) -> FloatArray:
        """Width at each level, (designs, levels), Hz."""
        return self.high - self.low

    def of_design(self, i: int) -> LossBand:
        """That of one design."""
        one = slice(i, i + 1)
        return LossBand(self.level, self.low[one], self.high[one], self.peak[one])


def notch(answer: Answer, levels: tuple[float, ...] = LEVELS) -> LossBand:
    """Find the edges of the notch around the first resonance.

    Parameters
    ----------
    answer : Answer
    levels : tuple of float, dB

    Returns
    -------
    LossBand

    Valid for
    ---------
    Main pipes without reflections on both sides; between others, the insertion loss tells more.

    Check
    -----
    Exact: uniform tube without losses, tests/closed_forms/ducts.py.
    """
    first = answer.resonance[:, 0]
    known = answer.tone[:, None]
    level = np.array(levels)
    peak = answer.transmission_loss(known)[:, 0]
    sides: list[FloatArray] = []
    for far in (LOWEST, HIGHEST):
        tones = known * np.linspace(1.0, far, LOOKS)
        above = answer.transmission_loss(tones)[:, None, :] >= level[None, :, None]
        # First look, away from the peak, at which the loss is below the level.
        outside = np.argmin(above, axis=2)
        crossed = (outside > 0) & ~np.all(above, axis=2)
        index = np.maximum(outside, 1)
        inner = np.take_along_axis(tones, index - 1, axis=1)
        outer = np.take_along_axis(tones, index, axis=1)
        edge = _edge(answer, inner, outer, level)
        sides.append(np.where(crossed & ~np.isnan(first)[:, None], edge, np.nan))
    return LossBand(level, sides[0], sides[1], peak)


def _edge(answer: Answer, inner: FloatArray, outer: FloatArray, level: FloatArray) -> FloatArray:
    """Tone between two, each (designs, levels), at which the loss crosses the level."""
    way = np.linspace(0.0, 1.0, CLOSER_LOOKS)
    tones = inner[:, :, None] + (outer - inner)[:, :, None] * way
    loss = answer.transmission_loss(tones.reshape(len(tones), -1)).reshape(tones.shape)
    # What passes, unlike the loss, is finite at the peak of a branch without losses, and runs
    # straight from there.
    excess = 10 ** (-loss / 20) - 10 ** (-level[:, None] / 20)
    after = np.maximum(np.argmax(excess > 0, axis=2), 1)[:, :, None]
    before = after - 1
    low, high = (np.take_along_axis(excess, i, axis=2)[:, :, 0] for i in (before, after))
    start, end = (np.take_along_axis(tones, i, axis=2)[:, :, 0] for i in (before, after))
    return start + (end - start) * low / (low - high)
