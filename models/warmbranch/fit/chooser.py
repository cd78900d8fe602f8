"""Which draws are worth pushing through the whole model: those that a stand-in finds likely."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.fit.observation_model import Expected
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.stand_in import StandIn
from warmbranch.fit.weighing import (
    Mixture,
    MultivariateNormal,
    effective,
    evened,
    moments,
    normalised,
)

POOL = 2400
"""Cheap draws of a pouring, from which the stand-in chooses those that are solved."""

POURS = 12
"""Pourings at most."""

POURED = 400.0
"""Effective cheap draws after which no more are poured: more than those that are solved, which are
picked from them. With 150 medians lay up to 0.18 of a standard deviation high, whatever was
solved after: see ``tests/benchmarks/coverage.md``."""

NARROWED = 1.2
"""Width of the pourings that follow the first two, over what those have found: with sixteen
unknowns a width of 1.4 leaves a ninth of the draws effective, 1.2 two thirds."""

STRETCH = 1.4
"""Width of drawn normal distributions over those that they stand for: tails must be reached."""

END, FAVOUR = 0.1, 2.2
"""Share of the resonance at either end, and how much more densely draws are chosen there: what to
cut now then moves a fifth less with the draws."""

REACH = 5.0
"""Standard deviations of the squared distance from the centre, over its mean, beyond which the
stand-in is not asked."""

ENOUGH = 120.0
"""Effective draws that another round is not needed for."""


class Chooser:
    """Draws by the stand-in's posterior, spread evenly over the resonance that it foresees.

    Evenly but for both ends, which advice hangs on and few draws would otherwise tell of.

    Parameters
    ----------
    problem : InverseProblem
    white : (draws, unknowns) array
        Solved before; ``expected`` is what the model says of them.
    centre, covariance : (unknowns,), (unknowns, unknowns) array
        Where the stand-in is to be good.
    seed : int
    """

    def __init__(
        self,
        problem: InverseProblem,
        white: FloatArray,
        expected: list[Expected],
        centre: FloatArray,
        covariance: FloatArray,
        seed: int,
    ) -> None:
        self._seed = seed
        self._stand_in = StandIn(problem, white, expected, centre, covariance)
        dimensions = len(centre)
        self._reach = dimensions + REACH * np.sqrt(2 * dimensions)
        self._mixture = Mixture(dimensions)
        self._log_value, self._tone = np.empty(0), np.empty(0)
        wide = covariance * STRETCH**2
        self._pour(MultivariateNormal(centre, wide), POOL)
        self._pour(self._found(ENOUGH, STRETCH), POOL)
        while len(self._mixture.sources) < POURS and self._effective() < POURED:
            self._pour(self._found(2 * ENOUGH, NARROWED), POOL)
        log_weights = self._log_weights()
        peak = float(np.max(log_weights))
        weights = np.exp(log_weights - peak)
        # What makes the stand-in's posterior a density like the others'.
        self._log_total = peak + float(np.log(np.sum(weights)))
        self._order = np.argsort(self._tone)
        edges = np.cumsum(weights[self._order])
        self._share: FloatArray = (edges - weights[self._order] / 2) / float(edges[-1])
        self._weights: FloatArray = weights[self._order] * _favour(self._share)

    def _found(self, least: float, stretch: float) -> MultivariateNormal:
        """About what has been poured so far, with weights evened to ``least`` effective draws."""
        middle, around = moments(self._mixture.white, evened(self._log_weights(), least))
        return MultivariateNormal(middle, around * stretch**2)

    def _pour(self, source: MultivariateNormal, size: int) -> None:
        """Add cheap draws, judged by the stand-in."""
        white = source.draws(size, self._seed + len(self._mixture.sources))
        log_value, tone = self._judged(white)
        self._mixture.add(white, size, source)
        self._log_value = np.concatenate([self._log_value, log_value])
        self._tone = np.concatenate([self._tone, tone])

    def _log_weights(self) -> FloatArray:
        return self._log_value - self._mixture.log_density

    def _effective(self) -> float:
        return effective(normalised(self._log_weights()))

    def draws(self, size: int) -> tuple[FloatArray, IntArray]:
        """Systematic resampling along the resonance: different draws, and how often each came."""
        edges = np.cumsum(self._weights)
        places = (np.arange(size) + 0.5) / size * edges[-1]
        chosen, times = np.unique(self._order[np.searchsorted(edges, places)], return_counts=True)
        return self._mixture.white[chosen], times

    def log_density(self, white: FloatArray) -> FloatArray:
        """How densely it draws there."""
        log_value, tone = self._judged(white)
        share = np.interp(tone, self._tone[self._order], self._share)
        return log_value - self._log_total + np.log(_favour(share))

    def _judged(self, white: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Logarithm of the posterior by the stand-in, and ln(resonance)."""
        return self._stand_in.foreseen(white, self._reach)


def _favour(share: FloatArray) -> FloatArray:
    """How much more densely draws are chosen where so much of the resonance lies below."""
    ends = np.minimum(share, 1 - share) < END
    return np.where(ends, FAVOUR, (1 - 2 * END * FAVOUR) / (1 - 2 * END))
