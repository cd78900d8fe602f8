"""The distribution of unknowns and answers after a fit, by weighted draws.

Draws come from the prior and from Laplace's approximation about the most probable set. A quadratic
stand-in for the model, fitted to them, tells where further draws are worth most. Every draw is
pushed through the whole model and weighted by how probable it really is. Where few draws carry
most of the weight, more are drawn round those; and when even then too few count, the weights are
evened out, which widens every interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.belief.draws import quantiles, standard_normal
from warmbranch.belief.forecast import Forecast
from warmbranch.fit.chooser import ENOUGH, Chooser
from warmbranch.fit.observation_model import Expected
from warmbranch.fit.posterior import InverseProblem, Mode
from warmbranch.fit.search import climb
from warmbranch.fit.shared import Conditional
from warmbranch.fit.stand_in import StandIn
from warmbranch.fit.weighing import (
    Density,
    Mixture,
    MultivariateNormal,
    effective,
    evened,
    moments,
    normalised,
)

PRIOR_DRAWS = 192
"""Solved before any reading counts; they also tell the prediction before the fit."""

LAPLACE_DRAWS = 320
POSTERIOR_DRAWS = 320
"""A round, of those that the stand-in chooses."""

ABOUT = 1.2
"""Width of the draws by Laplace's approximation over it: those of the prior reach farther."""

FEWEST = 50.0
"""Effective draws that quantiles at 5 % and 95 % need at least."""

MOST_ROUNDS = 10
"""With few readings one or two do; with fifty, three left six fits of eight with evened weights."""

ROUGHLY = 0.3
"""Rise of ln(probability) that a step on the first stand-in must promise: the model itself is
searched next."""

REGION = 0.7
"""White width of the region that the first stand-in is fitted to."""

SEED = 20


@dataclass(frozen=True)
class Ensemble:
    """Weighted draws and what would be seen with each.

    Parameters
    ----------
    white : (draws, unknowns) array
    weights : (draws,) array
        Sum 1.
    displayed : (draws, readings) array, K
    heard : (draws, heard) array, Hz
    frequency : (draws,) array, Hz
        First resonance, never NaN: draws without one have been left out.
    position, skin : (draws, nodes) array; m, K
        The skin all along the branch, as it is read.
    shared : Conditional
        The shared errors given each draw.
    log_evidence : float
        Logarithm of the probability of what was observed, but for a constant of its uncertainties.
    without_resonance : float
        Weight of the draws without a resonance.
    unsolved : int
        Draws that the model has no solution for; they weigh nothing.
    effective : float
        How many equally weighted draws would tell as much.
    laplace_share : float
        Effective share of the draws by Laplace's approximation.
    widened : bool
        Whether weights were evened out.
    rounds : int
        Of draws chosen by the stand-in.
    draws : int
        Solved in all.
    """

    white: FloatArray
    weights: FloatArray
    displayed: FloatArray
    heard: FloatArray
    frequency: FloatArray
    position: FloatArray
    skin: FloatArray
    shared: Conditional
    log_evidence: float
    without_resonance: float
    unsolved: int
    effective: float
    laplace_share: float
    widened: bool
    rounds: int
    draws: int

    def quantiles(self, values: FloatArray, levels: FloatArray) -> FloatArray:
        """Weighted quantiles of one value a draw."""
        return quantiles(values, self.weights, levels)

    def moments(self) -> tuple[FloatArray, FloatArray]:
        """Mean (unknowns,) and covariance (unknowns, unknowns) of the white coordinates."""
        return moments(self.white, self.weights)

    def chosen(self, size: int) -> NDArray[np.intp]:
        """Rows of ``size`` equally likely draws, in the order of the resonance, some repeated."""
        order = np.argsort(self.frequency)
        edges = np.cumsum(self.weights[order])
        places = (np.arange(size) + 0.5) / size * edges[-1]
        return order[np.searchsorted(edges, places)]


def side_by_side(parts: Sequence[Ensemble], chances: Sequence[float] | FloatArray) -> Ensemble:
    """The draws of ensembles of the same unknowns and observations, by the chances of each.

    All that is told of the drawing stays as it is of the first.
    """
    joined = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in ("white", "displayed", "heard", "frequency", "position", "skin")
    }
    shared = zip(*(part.shared for part in parts), strict=True)
    return replace(
        parts[0],
        **joined,
        weights=np.concatenate([c * part.weights for c, part in zip(chances, parts, strict=True)]),
        shared=Conditional(*map(np.concatenate, shared)),
    )


class PriorDraws:
    """Draws before any reading, solved once and used twice.

    Parameters
    ----------
    problem : InverseProblem
    size : int
    sounding : Forecast, optional
        What the case itself says of the draws, from another problem of it.
    """

    def __init__(
        self,
        problem: InverseProblem,
        size: int = PRIOR_DRAWS,
        sounding: Forecast | None = None,
    ) -> None:
        self.white = standard_normal(size, len(problem), SEED)
        self.expected = problem.expected(self.white, sounding)

    def ensemble(self, problem: InverseProblem) -> Ensemble:
        """The draws as they are, equally likely."""
        size = len(self.white)
        return _ensemble(
            self.white,
            np.full(size, 1 / size),
            [self.expected],
            problem.shared.prior_draws(size),
            log_evidence=0.0,
            laplace_share=1.0,
            widened=False,
            rounds=0,
        )

    def starts(
        self,
        problem: InverseProblem,
        expected: Expected | None = None,
        *,
        least: float = -np.inf,
    ) -> FloatArray:
        """Starts for the search: the most probable draw, and what a stand-in makes of it.

        ``expected`` is what another problem than that of the draws sees of them; ``least`` is as
        for :func:`climb`.
        """
        expected = expected or self.expected
        value = problem.log_posterior(self.white, expected)
        row = int(np.argmax(value))
        best = self.white[[row]]
        region = REGION**2 * np.eye(len(problem))
        stand_in = StandIn(problem, self.white, [expected], best[0], region)
        start = problem.joint(best, expected.one(row))
        return np.concatenate([start, climb(stand_in, start, ROUGHLY, least=least).white[None]])


def posterior_ensemble(
    problem: InverseProblem, mode: Mode, prior: PriorDraws, enough: float | None = None
) -> Ensemble:
    """Draw, weigh, and draw again where that is needed.

    Parameters
    ----------
    problem : InverseProblem
    mode : Mode
    prior : PriorDraws
        Of the same problem.
    enough : float, optional
        Effective draws after which no more are drawn; ``ENOUGH`` unless given.

    Notes
    -----
    Importance sampling with the balance heuristic of Veach and Guibas (SIGGRAPH 1995): a draw's
    weight is its posterior density over the density of all rounds' draws together, so that the
    draws of the prior guard the tails.
    """
    enough = ENOUGH if enough is None else enough
    dimensions = len(problem)
    standard = MultivariateNormal(np.zeros(dimensions), np.eye(dimensions))
    pool = _Pool(problem)
    pool.add(prior.white, prior.expected, standard)
    centre = mode.summit.white[:dimensions]
    every: FloatArray = np.asarray(np.linalg.inv(mode.summit.precision), dtype=np.float64)
    covariance = every[:dimensions, :dimensions]
    about = MultivariateNormal(centre, covariance * ABOUT**2)
    white = about.draws(LAPLACE_DRAWS, SEED + 1)
    pool.add(white, problem.expected(white), about)
    own = pool.log_posterior[len(prior.white) :] - about.log_density(white)
    laplace_share = effective(normalised(own)) / LAPLACE_DRAWS
    rounds = 0
    while rounds < MOST_ROUNDS and effective(pool.weights()) < enough:
        if rounds > 0:
            even = evened(pool.log_weights(), 3.0 * dimensions)
            centre, covariance = moments(pool.white, even)
        rounds += 1
        chooser = Chooser(
            problem,
            pool.white,
            pool.expected,
            centre,
            covariance,
            SEED,
        )
        white, times = chooser.draws(POSTERIOR_DRAWS)
        pool.add(white, problem.expected(white), chooser, times)
    weights = pool.weights()
    widened = effective(weights) < FEWEST
    if widened:
        weights = evened(pool.log_weights(), FEWEST)
    return _ensemble(
        pool.white,
        weights,
        pool.expected,
        Conditional(*map(np.concatenate, zip(*pool.shared, strict=True))),
        log_evidence=pool.log_evidence(),
        laplace_share=laplace_share,
        widened=widened,
        rounds=rounds,
    )


class _Pool:
    """All solved draws, and how densely they were drawn."""

    def __init__(self, problem: InverseProblem) -> None:
        self._problem = problem
        self.expected: list[Expected] = []
        self.shared: list[Conditional] = []
        self._mixture = Mixture(len(problem))
        self.log_posterior: FloatArray = np.empty(0)
        self._times: IntArray = np.empty(0, dtype=np.int64)

    @property
    def white(self) -> FloatArray:
        """All draws, (draws, unknowns)."""
        return self._mixture.white

    def add(
        self,
        white: FloatArray,
        expected: Expected,
        source: Density,
        times: IntArray | None = None,
    ) -> None:
        """Take in different draws; ``times`` is how often each was drawn, once unless given."""
        times = np.ones(len(white), dtype=np.int64) if times is None else times
        self.expected.append(expected)
        self._mixture.add(white, int(times.sum()), source)
        self._times = np.concatenate([self._times, times])
        shared = self._problem.given(expected)
        self.shared.append(shared)
        value = shared.log_evidence - np.sum(white**2, axis=1) / 2
        self.log_posterior = np.concatenate([self.log_posterior, value])

    def log_weights(self) -> FloatArray:
        return np.log(self._times) + self.log_posterior - self._mixture.log_density

    def log_evidence(self) -> float:
        """The mean of what the weights are before they are made to sum to 1."""
        return float(np.logaddexp.reduce(self.log_weights()))

    def weights(self) -> FloatArray:
        return normalised(self.log_weights())


def _ensemble(
    white: FloatArray,
    weights: FloatArray,
    expected: list[Expected],
    shared: Conditional,
    *,
    log_evidence: float,
    laplace_share: float,
    widened: bool,
    rounds: int,
) -> Ensemble:
    frequency = np.concatenate([part.frequency for part in expected])
    silent = np.isnan(frequency)
    kept = ~silent & (weights > 0)
    total = float(np.sum(weights[kept]))
    position, skin = map(np.concatenate, zip(*(part.skins for part in expected), strict=True))
    displayed = np.concatenate([part.displayed for part in expected])
    unsolved = np.isnan(skin[:, -1]) | np.isnan(displayed).any(axis=1)
    own = weights[kept] / total if total > 0 else weights[kept]
    return Ensemble(
        white=white[kept],
        weights=own,
        displayed=displayed[kept],
        heard=np.concatenate([part.heard for part in expected])[kept],
        frequency=frequency[kept],
        position=position[kept],
        skin=skin[kept],
        shared=Conditional(*(part[kept] for part in shared)),
        log_evidence=log_evidence,
        without_resonance=float(np.sum(weights[silent & ~unsolved])),
        unsolved=int(np.sum(unsolved)),
        effective=effective(own) if total > 0 else 0.0,
        laplace_share=laplace_share,
        widened=widened,
        rounds=rounds,
        draws=len(frequency),
    )
