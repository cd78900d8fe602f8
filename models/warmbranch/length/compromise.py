"""One length for several operating points, or against a measured loudness curve.

What is left of a tone is its level less the branch's transmission loss. The best length leaves the
least, over all operating points and all tones of the band.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.length.family import Family, family
from warmbranch.length.length_for_tone import bounds, one_temperature_length, with_length
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve

WIDEST = (0.5, 1.05)
"""Lengths searched, over the one-temperature lengths of the highest and the lowest tone."""

FIRST_LENGTHS = 301
"""Lengths looked at over the whole range: the notch of a narrow branch is some percent wide, so
that several of them fall into it."""

NARROW = 0.04
"""Half width of the second look, over the length found first."""

LATER_LENGTHS = 161

COUNTS = (7, 4)
"""Lengths solved for the first and for the second look."""


class Aim(Enum):
    """What is to be least."""

    LOUDEST = "loudest"
    """The loudest level left, over all tones and all operating points of a weight above zero."""
    MEAN = "weighted mean"
    """The mean level left: powers averaged over the band, weighted over the points."""


@dataclass(frozen=True)
class Tones:
    """The tones to be quietened at each operating point.

    Parameters
    ----------
    frequency : (points, n) array, Hz
        Rising along each row.
    level : (points, n) array, dB
        Without the branch.
    share : (n,) array, dimensionless
        How much of the band each tone stands for; sums to 1.
    """

    frequency: FloatArray
    level: FloatArray
    share: FloatArray

    @classmethod
    def single(cls, frequency: FloatArray) -> Tones:
        """One tone of 0 dB at each point, (points,), Hz."""
        return cls(frequency[:, None], np.zeros((len(frequency), 1)), np.ones(1))

    @classmethod
    def from_curve(
        cls, frequency: FloatArray, level: FloatArray, low: float, high: float, points: int
    ) -> Tones:
        """A measured curve over a band, linear between its points, the same at each point.

        Parameters
        ----------
        frequency, level : (n,) array; Hz, dB
            Rising in frequency.
        low, high : float, Hz
            Band, within the curve.
        points : int
            Operating points.
        """
        even = np.linspace(low, high, BAND_TONES)
        inside = frequency[(frequency > low) & (frequency < high)]
        tone = np.unique(np.concatenate([even, inside]))
        width = np.gradient(tone)
        width[[0, -1]] /= 2
        levels = np.interp(tone, frequency, level)
        return cls(np.tile(tone, (points, 1)), np.tile(levels, (points, 1)), width / width.sum())


BAND_TONES = 101
"""Tones evenly over a band: closer than the notch is wide, whatever the curve's own spacing."""


@dataclass(frozen=True)
class Compromise:
    """The best length, and what it leaves.

    Parameters
    ----------
    length : float, m
    answer : Answer
        Of each operating point at that length.
    before, after : (points, n) array, dB
        Levels of the tones without and with the branch.
    objective_before, objective_after : float, dB
        What was made least.
    at_bound : bool
        Whether the best length lies at an end of the admissible range.
    designs : int
        Solutions of the whole model spent, a batch counting each of its members.
    """

    length: float
    answer: Answer
    before: FloatArray
    after: FloatArray
    objective_before: float
    objective_after: float
    at_bound: bool
    designs: int


def left_over(level: FloatArray, weight: FloatArray, share: FloatArray, aim: Aim) -> FloatArray:
    """What is left, dB, of levels (..., points, n) with weights (points,) and shares (n,)."""
    if aim is Aim.LOUDEST:
        heard = level[..., weight > 0, :]
        return heard.max(axis=(-2, -1))
    power = 10 ** (level / 10) @ share
    return 10 * np.log10(power @ (weight / weight.sum()))


def best_length(
    case: Case, tones: Tones, weight: FloatArray, aim: Aim, *, near: float | None = None
) -> Compromise:
    """Find the one length that leaves the least.

    Parameters
    ----------
    case : Case
        One design an operating point.
    tones : Tones
    weight : (points,) array, dimensionless
        ``>= 0``, not all zero.
    aim : Aim
    near : float, m, optional
        Search only around this length.

    Returns
    -------
    Compromise

    Valid for
    ---------
    Branches whose transmission loss, with pipes without reflections, stands for what they do; the
    level of each operating point is the same measured curve.

    Check
    -----
    Brute force over lengths, in tests/models/length/test_compromise.py.

    Notes
    -----
    The whole model is solved at a few lengths for all operating points at once; between them the
    reflection at the mouth is interpolated (family.py). A second look, closer, follows, and the
    answer at the end is the model's own.
    """
    shortest, longest = (float(side) for side in (bounds(case)[0].max(), bounds(case)[1].min()))
    if near is None:
        hot = case.main_pipe.gas_temperature
        ends = one_temperature_length(
            np.stack([tones.frequency[:, -1], tones.frequency[:, 0]]), hot
        )
        low, high = WIDEST[0] * ends[0].min(), WIDEST[1] * ends[1].max()
    else:
        low, high = (1 - NARROW) * near, (1 + NARROW) * near
    designs = 0
    found = float("nan")
    for count, looks in zip(COUNTS, (FIRST_LENGTHS, LATER_LENGTHS), strict=True):
        low, high = _within(low, high, shortest, longest)
        known = family(case, low, high, tones.frequency, count=count)
        designs += count * len(case)
        found = _least(known, tones, weight, aim, looks)
        low, high = (1 - NARROW) * found, (1 + NARROW) * found
    answer = solve(with_length(case, np.full(len(case), found)))
    after = tones.level - answer.transmission_loss(tones.frequency)
    return Compromise(
        length=found,
        answer=answer,
        before=tones.level,
        after=after,
        objective_before=float(left_over(tones.level, weight, tones.share, aim)),
        objective_after=float(left_over(after, weight, tones.share, aim)),
        at_bound=not shortest * (1 + BOUND) < found < longest * (1 - BOUND),
        designs=designs + len(case),
    )


BOUND = 1e-4
"""How near to an end of the admissible range a length counts as lying there, relative."""


def _within(low: float, high: float, shortest: float, longest: float) -> tuple[float, float]:
    """The range of lengths cut to the admissible one, and never empty."""
    low = min(max(low, shortest), longest * (1 - NARROW))
    return low, max(min(high, longest), low * (1 + NARROW))


def _least(known: Family, tones: Tones, weight: FloatArray, aim: Aim, looks: int) -> float:
    """Best length of a family: the best of many, then of many more between its neighbours."""
    low, high = float(known.lengths[0]), float(known.lengths[-1])
    for _ in range(3):
        lengths: FloatArray = np.geomspace(low, high, looks)
        after = tones.level - known.transmission_loss(lengths)
        best = int(np.argmin(left_over(after, weight, tones.share, aim)))
        low = float(lengths[max(best - 1, 0)])
        high = float(lengths[min(best + 1, looks - 1)])
        looks = REFINED_LENGTHS
    return (low + high) / 2


REFINED_LENGTHS = 21
