"""The distribution of unknowns and answers after a fit, by weighted draws.

Draws come from the prior and from Laplace's approximation about the most probable set; each is
pushed through the whole model and weighted by how probable it really is. Where Laplace's
approximation is visibly wrong its draws carry little weight: then the next draws follow the
weighted ones, and when even those remain few, the weights are evened out until enough draws
count, which widens every interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.batch import FloatArray
from warmbranch.draws import quantiles, standard_normal
from warmbranch.posterior import Expected, Mode, Problem

PRIOR_DRAWS = 128
POSTERIOR_DRAWS = 256
STRETCH = 1.1
"""Width of the drawn normal distribution over that it stands for: the weights then have no far
tails, at a cost of some tenth of the draws."""

GOOD_SHARE = 0.3
"""Effective draws over those of one round below which another round is drawn."""

ENOUGH = 60.0
"""Effective draws that quantiles at 5 % and 95 % need at least."""

MOST_ROUNDS = 3
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
        The skin all along the branch.
    without_resonance : float
        Weight of the draws without a resonance.
    effective : float
        How many equally weighted draws would tell as much.
    laplace_share : float
        Effective share of the draws by Laplace's approximation.
    widened : bool
        Whether weights were evened out.
    rounds : int
    """

    white: FloatArray
    weights: FloatArray
    displayed: FloatArray
    heard: FloatArray
    frequency: FloatArray
    position: FloatArray
    skin: FloatArray
    without_resonance: float
    effective: float
    laplace_share: float
    widened: bool
    rounds: int

    def quantiles(self, values: FloatArray, levels: FloatArray) -> FloatArray:
        """Weighted quantiles of one value a draw."""
        return quantiles(values, self.weights, levels)

    def moments(self) -> tuple[FloatArray, FloatArray]:
        """Mean (unknowns,) and covariance (unknowns, unknowns) of the white coordinates."""
        return moments(self.white, self.weights)

    def chosen(self, size: int) -> FloatArray:
        """White coordinates of ``size`` equally likely draws, heavy ones repeated."""
        edges = np.cumsum(self.weights)
        places = (np.arange(size) + 0.5) / size * edges[-1]
        return self.white[np.searchsorted(edges, places)]


class Prior:
    """Draws before any reading, solved once and used twice.

    Parameters
    ----------
    problem : Problem
    size : int
    """

    def __init__(self, problem: Problem, size: int = PRIOR_DRAWS) -> None:
        self.white = standard_normal(size, len(problem), SEED)
        self.expected = problem.expected(self.white)

    def ensemble(self) -> Ensemble:
        """The draws as they are, equally likely."""
        size = len(self.white)
        return _ensemble(
            self.white,
            np.full(size, 1 / size),
            [self.expected],
            laplace_share=1.0,
            widened=False,
            rounds=0,
        )

    def best(self, problem: Problem) -> FloatArray:
        """The most probable draw, white: a start for the search."""
        return self.white[int(np.argmax(problem.log_posterior(self.white, self.expected)))]


def posterior_ensemble(
    problem: Problem, mode: Mode, prior: Prior, size: int = POSTERIOR_DRAWS
) -> Ensemble:
    """Draw, weigh, and draw again where that is needed.

    Parameters
    ----------
    problem : Problem
    mode : Mode
    prior : Prior
        Of the same problem.
    size : int
        Draws a round.

    Notes
    -----
    Importance sampling with the balance heuristic of Veach and Guibas (1995): a draw's weight is
    its posterior density over the density of all rounds' draws together, so that the draws of
    the prior guard the tails.
    """
    dimensions = len(problem)
    white, expected = [prior.white], [prior.expected]
    log_posterior = [problem.log_posterior(white[0], expected[0])]
    proposals = [(np.zeros(dimensions), np.eye(dimensions))]
    counts = [len(prior.white)]
    centre = mode.white
    covariance: FloatArray = np.asarray(np.linalg.inv(mode.precision), dtype=np.float64)
    laplace_share, weights, rounds = 1.0, np.empty(0), 0
    for rounds in range(1, MOST_ROUNDS + 1):
        spread = covariance * STRETCH**2
        drawn = centre + standard_normal(size, dimensions, SEED + rounds) @ _root(spread).T
        white.append(drawn)
        expected.append(problem.expected(drawn))
        log_posterior.append(problem.log_posterior(drawn, expected[-1]))
        proposals.append((centre, spread))
        counts.append(size)
        every = np.concatenate(white)
        density = np.logaddexp.reduce(
            [
                np.log(count) + _log_normal(every, *proposal)
                for count, proposal in zip(counts, proposals, strict=True)
            ],
            axis=0,
        )
        log_weights = np.concatenate(log_posterior) - density
        weights = _normalised(log_weights)
        if rounds == 1:
            own = _normalised(log_posterior[-1] - _log_normal(drawn, centre, spread))
            laplace_share = effective(own) / size
        if effective(weights) >= GOOD_SHARE * size:
            break
        centre, covariance = moments(every, _evened(log_weights, 3.0 * dimensions))
    every = np.concatenate(white)
    widened = effective(weights) < ENOUGH
    if widened:
        weights = _evened(np.log(np.maximum(weights, 1e-300)), ENOUGH)
    return _ensemble(
        every, weights, expected, laplace_share=laplace_share, widened=widened, rounds=rounds
    )


def effective(weights: FloatArray) -> float:
    """Kish's effective number of draws of weights that sum to 1."""
    return float(1 / np.sum(weights**2))


def moments(white: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weighted mean and covariance."""
    mean = weights @ white
    away = white - mean
    return mean, (away * weights[:, None]).T @ away


def _normalised(log_weights: FloatArray) -> FloatArray:
    weights: FloatArray = np.exp(log_weights - np.max(log_weights))
    return weights / np.sum(weights)


def _evened(log_weights: FloatArray, least: float) -> FloatArray:
    """Weights to the highest power up to 1 that leaves ``least`` effective draws."""
    least = min(least, 0.9 * len(log_weights))
    power = 1.0
    while effective(_normalised(power * log_weights)) < least:
        power *= 0.9
    return _normalised(power * log_weights)


def _root(covariance: FloatArray) -> FloatArray:
    values, vectors = np.linalg.eigh(covariance)
    return vectors * np.sqrt(np.maximum(values, 0.0))


def _log_normal(white: FloatArray, centre: FloatArray, covariance: FloatArray) -> FloatArray:
    """Logarithm of a normal density, but for the constant that all share."""
    lower = np.linalg.cholesky(covariance)
    scaled = np.linalg.solve(lower, (white - centre).T)
    return -np.sum(scaled**2, axis=0) / 2 - np.sum(np.log(np.diag(lower)))


def _ensemble(
    white: FloatArray,
    weights: FloatArray,
    expected: list[Expected],
    *,
    laplace_share: float,
    widened: bool,
    rounds: int,
) -> Ensemble:
    frequency = np.concatenate([part.frequency for part in expected])
    silent = np.isnan(frequency)
    kept = ~silent & (weights > 0)
    total = float(np.sum(weights[kept]))
    profiles = [part.forecast.profile for part in expected]
    lengths = [len(part.forecast) // len(part.frequency) for part in expected]
    position, skin = (
        np.concatenate(
            [getattr(profile, name)[::n] for profile, n in zip(profiles, lengths, strict=True)]
        )
        for name in ("position", "skin")
    )
    own = weights[kept] / total if total > 0 else weights[kept]
    return Ensemble(
        white=white[kept],
        weights=own,
        displayed=np.concatenate([part.displayed for part in expected])[kept],
        heard=np.concatenate([part.heard for part in expected])[kept],
        frequency=frequency[kept],
        position=position[kept],
        skin=skin[kept],
        without_resonance=float(np.sum(weights[silent])),
        effective=effective(own) if total > 0 else 0.0,
        laplace_share=laplace_share,
        widened=widened,
        rounds=rounds,
    )
