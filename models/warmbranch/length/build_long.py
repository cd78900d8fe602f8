"""How long to build: cutting off is easy, adding is not.

The right length is uncertain as the closures are: what is believed of them, or was learned by a
fit, spreads it. The length to build leaves but a small chance that the right one is longer still.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.parabolas import COARSE_NODES, Parabolas
from warmbranch.case.case import Case
from warmbranch.length.length_for_tone import LONGEST, Sized, bounds, frozen_slope, with_length
from warmbranch.steady.solve import solve

CHANCE_TOO_SHORT = 0.05
"""Chance of a branch built too short that is borne; our judgement."""


@dataclass(frozen=True)
class RightLengths:
    """What the right length may be, as far as the closures are known.

    Parameters
    ----------
    lengths : (members,) array, m
        Sorted. Infinite for members that no admissible length serves.
    """

    lengths: FloatArray

    def build(self, chance: float = CHANCE_TOO_SHORT, allowance: float = 0.0) -> float:
        """Length to build, m, so that the chance of being too short is at most ``chance``.

        Parameters
        ----------
        chance : float
            ``0 < chance < 1``.
        allowance : float, m
            Added for what weld and cap may take.
        """
        # The next member up; the tiny number keeps rounding from skipping one.
        place = math.ceil((1 - chance) * (len(self.lengths) - 1) - 1e-9)
        return float(self.lengths[place]) + allowance

    def chance_too_short(self, length: float) -> float:
        """Share of the ensemble whose right length is longer than ``length``, m."""
        return float(np.mean(self.lengths > length))

    def interval(self, share: float) -> tuple[float, float]:
        """Central interval that holds ``share`` of the ensemble, m.

        Members that no admissible length serves count as ``LONGEST``.
        """
        known = np.minimum(self.lengths, LONGEST)
        low, high = np.quantile(known, [(1 - share) / 2, (1 + share) / 2])
        return float(low), float(high)


def uncertain_lengths(sized: Sized, given: Case, calibration: Calibration) -> RightLengths:
    """What the right length may be for a tone, closures and case being uncertain.

    Parameters
    ----------
    sized : Sized
        One design at the length that is right for the case, or for the middle of what is believed.
    given : Case
        The same, as the user gives it: not yet :meth:`Calibration.applied_to`.
    calibration : Calibration
        What is believed: a prior, or what a fit learned.

    Returns
    -------
    RightLengths
        ``DRAWS`` of them.

    Valid for
    ---------
    Unknowns that act on the length not much more than quadratically. Measured against solving for
    every draw: the chance of being too short comes out within half a percent of the 5 % asked for.

    Check
    -----
    Against solutions for every draw, in tests/models/length/test_build_long.py.

    Notes
    -----
    :class:`Parabolas` of ln L. The length that would be right at each of their designs follows
    from the slope of the resonance with the length, its frozen part (see length_for_tone.py) made
    larger as it is at ``sized``. 64 random draws would miss the length by a tenth of the spread.
    """
    right, tone = float(sized.length[0]), sized.frequency
    there = Parabolas.around(given, calibration)
    # The case that ``right`` is right for stands last: what is open lies beside it in the middle.
    cases = Case.concatenate([there.cases, sized.answer.case])
    answer = solve(with_length(cases, np.full(len(cases), right)), nodes=COARSE_NODES, modes=1)
    # Where losses leave no resonance, the transit time still tells which way it would move.
    here = np.log(answer.tone / answer.tone[-1])
    true_slope = sized.slope / frozen_slope(sized.answer, tone)
    wanted = -here / (frozen_slope(answer, answer.tone) * true_slope)
    lengths = right * np.exp(wanted[0] + there.draws(wanted[:-1]))
    return RightLengths(np.sort(np.where(lengths > LONGEST, np.inf, lengths)))


@dataclass(frozen=True)
class TrimPlan:
    """What each cut gives.

    Parameters
    ----------
    cut : (steps,) array, m
        Taken off the length as built; rising from 0.
    length : (steps,) array, m
    frequency : (steps,) array, Hz
        First resonance with that length.
    frequency_per_length : float, Hz/m
        At the right length; negative.
    """

    cut: FloatArray
    length: FloatArray
    frequency: FloatArray
    frequency_per_length: float


MOST_TRIM_STEPS = 60

DEEPEST = 1.0
"""How far below the right length the table goes, over how far above it the build length lies."""


def trim_steps(sized: Sized, build: float, step: float) -> TrimPlan:
    """Table of cuts from the length as built to as far below the right length.

    Parameters
    ----------
    sized : Sized
        One design.
    build : float, m
        ``>=`` the right length.
    step : float, m
        ``> 0``; widened to keep to ``MOST_TRIM_STEPS``.

    Returns
    -------
    TrimPlan

    Check
    -----
    Against solutions at every step, in tests/models/length/test_build_long.py.

    Notes
    -----
    ln f is interpolated against ln L by a parabola through the model's answers at the right length
    and at both ends of the table.
    """
    case, right = sized.answer.case, float(sized.length[0])
    shortest, longest = (float(side[0]) for side in bounds(case))
    above = max(build - right, step)
    lowest = max(right - DEEPEST * above, shortest)
    step = max(step, (build - lowest) / MOST_TRIM_STEPS)
    count = math.floor((build - lowest) / step + 1e-9)  # rounding must not lose the last cut
    cut = np.linspace(0.0, step * count, count + 1)
    ends = np.array([lowest, min(right + above, longest)])
    heard = solve(with_length(case.repeat(2), ends), modes=1).resonance[:, 0]
    x = np.log(np.array([ends[0], right, ends[1]]))
    y = np.log(np.array([heard[0], sized.answer.resonance[0, 0], heard[1]]))
    parabola = np.polynomial.Polynomial.fit(x, y, 2)
    length = build - cut
    slope = float(parabola.deriv()(x[1]))
    return TrimPlan(
        cut=cut,
        length=length,
        frequency=np.exp(parabola(np.log(length))),
        frequency_per_length=slope * math.exp(y[1]) / right,
    )
