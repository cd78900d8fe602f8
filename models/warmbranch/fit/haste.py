"""What if it was read and heard soon after a cold start, where nobody told when.

A branch that is still warming looks much like one that is always cooler, and one that is taken to
be cooler than it is gets cut too much. Where no time is told, the job is held to be hasty as
likely as not, unless the data speak against it; in a hasty job the tone of the warm branch lies
above what the fit makes of it by as much as the tone of this very branch lags at that time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.fit.clock import WARMTH
from warmbranch.fit.ensemble import Ensemble, side_by_side
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.warmth import coordinate_of, time_of

HASTY = 240.0
"""s after a cold start at which a hasty job is read and heard: a few minutes for a first look. Our
judgement."""

SHARE = 0.5
"""Chance that a job without a time is a hasty one, before the data are asked; and at most: they
may speak for a warm branch, but what looks like haste may be another thing that the model lacks.
What it buys and costs, ``coverage_fit.py`` tells."""


SETTLED_LAG = 0.003
"""Lag of a tone that counts as warm: below what any ear finds."""

MOST_GAINED = 50.0
"""ln of how much likelier a draw may become: beyond all doubt, and still a number."""


@dataclass(frozen=True)
class Haste:
    """What a hasty job would leave out.

    Parameters
    ----------
    lag : float, dimensionless
        By how much the tone lies below that of the warm branch at ``HASTY``.
    share : float, dimensionless
        Chance of haste.
    rise : (draws,) array, dimensionless
        What is then to be added to ln(first resonance) of each draw of an ensemble: 0 for those
        that hold it to have been as early themselves.
    settled : (draws,) array of bool
        Which of the draws hold the branch to have been warm.
    """

    lag: float
    share: float
    rise: FloatArray
    settled: BoolArray

    @classmethod
    def of(cls, problem: InverseProblem, ensemble: Ensemble) -> Haste | None:
        """Of the draws of a fit; None where the time was told, or tells nothing."""
        clock = problem.clock
        if clock.name != WARMTH or clock.lags is None:
            return None
        hasty = float(clock.lags.of_tone(np.array([HASTY]))[0])
        own = clock.lags.of_tone(time_of(ensemble.white[:, -1]))
        odds = SHARE / (1 - SHARE) * _evidence(problem, ensemble)
        rise = np.maximum(0.0, np.log(own / hasty))
        return cls(1 - hasty, min(SHARE, odds / (1 + odds)), rise, own > 1 - SETTLED_LAG)

    def split(self, weights: FloatArray) -> FloatArray:
        """Weights of draws as fitted, and of the same as hasty, one after the other."""
        return np.concatenate([(1 - self.share) * weights, self.share * weights])


def _evidence(problem: InverseProblem, ensemble: Ensemble) -> float:
    """How much more probable all that was read and heard is at ``HASTY`` than as fitted.

    Draws of the fit are seen anew, and weighed; a draw's own time then means nothing, and goes on
    by its prior.
    """
    # Of every draw: those that weigh least now may be likeliest then.
    clock, white = problem.clock, ensemble.white.copy()
    white[:, -1] = coordinate_of(HASTY)
    warm = clock.lagging(ensemble.displayed, np.log(ensemble.heard), ensemble.white, off=True)
    displayed, tones = clock.lagging(*warm, white)
    hasty = problem.given_seen(displayed, np.exp(tones)).log_evidence
    gained = np.minimum(hasty - ensemble.shared.log_evidence, MOST_GAINED)
    return float(ensemble.weights @ np.exp(gained))


def allowing_for(haste: Haste | None, problem: InverseProblem, ensemble: Ensemble) -> Ensemble:
    """The draws of a fit, and beside them the same as they would be, had the job been hasty.

    What those add to the resonance goes with the unknown ``tone``, where there is one, so that a
    calibration carries it on.

    Parameters
    ----------
    haste : Haste or None
        Of these draws; without, they stay as they are.
    problem : InverseProblem
    ensemble : Ensemble
    """
    if haste is None:
        return ensemble

    moved = ensemble.white + haste.rise[:, None] * problem.direction("tone")
    raised = ensemble.frequency * np.exp(haste.rise)
    hasty = replace(ensemble, white=moved, frequency=raised)
    return side_by_side([ensemble, hasty], [1 - haste.share, haste.share])
