r"""What is common to all jobs and what differs between them, from what each saw.

In each unknown's usual coordinate, over its usual spread, job j has :math:`z_j = m + d_j`. Today's
prior variance, 1, is split: a share r is what differs from job to job, the rest is common,

.. math:: m \sim N(0, 1 - r), \qquad d_j \sim N(0, r)

and r is as likely one number as another between 0 and 1: with even chances the same of all
unknowns, or of each by itself. That split is our judgement; nobody measured it. A small chance is
kept for jobs that differ by more than today's prior admits. A job's likelihood is that of a few
readings of unit error, :math:`y_j \sim N(A_j^T z_j, 1)`, so that all but r is found in closed
form; r is summed over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import ndtr

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.belief.draws import quantiles, standard_normal

STEPS = 16
"""Even steps of r between 0 and 1; their middles are summed over."""

BEYOND = (2.0, 4.0)
"""Shares of more than today's variance: jobs that differ by more than anyone admits today."""

BEYOND_CHANCE = 0.01
"""Of each of those."""

LEAST_COMMON = 0.05
"""Share of today's variance that what is common keeps, whatever differs."""

ALIKE = 0.5
"""Chance that all unknowns have the same share. Few jobs tell that one, and hardly any other."""

DRAWS = 1024
"""Sets of shares of each of two rounds: by what is believed before, then by what that found. The
sets of equal shares, which are few, are summed over one by one."""

GUARD = 0.3
"""Part of the second round that is drawn as the first was."""

SEED = 47

SHARES: FloatArray = np.array([*((np.arange(STEPS) + 0.5) / STEPS), *BEYOND])
CHANCES: FloatArray = np.array(
    [(1 - BEYOND_CHANCE * len(BEYOND)) / STEPS] * STEPS + [BEYOND_CHANCE] * len(BEYOND)
)


@dataclass(frozen=True)
class Seen:
    """What one job says of the unknowns: a few readings of unit error.

    Parameters
    ----------
    of : (unknowns, readings) array
        How each reading goes with each unknown, in the usual coordinates and spreads.
    shown : (readings,) array
    more : (unknowns,) array
        What this job differs by beyond others, as a variance: a mouth that leans.
    """

    of: FloatArray
    shown: FloatArray
    more: FloatArray


@dataclass(frozen=True)
class Population:
    """What jobs say of all jobs and of the next.

    Parameters
    ----------
    shares : (draws, unknowns) array
        Of today's variance that differ from job to job.
    weights : (draws,) array
        Sum 1.
    common : (draws, unknowns) array
        Mean of what is common, given the shares.
    common_covariance : (draws, unknowns, unknowns) array
    """

    shares: FloatArray
    weights: FloatArray
    common: FloatArray
    common_covariance: FloatArray

    @property
    def effective(self) -> float:
        """How many equally weighted sets of shares would tell as much."""
        return float(1 / np.sum(self.weights**2))

    def common_moments(self) -> tuple[FloatArray, FloatArray]:
        """Mean and covariance of what is common to all jobs."""
        return self._moments(self.common_covariance)

    def next_job(self) -> tuple[FloatArray, FloatArray]:
        """Mean and covariance of the next job's unknowns."""
        own = self.shares[:, :, None] * np.eye(self.shares.shape[1])
        return self._moments(self.common_covariance + own)

    def _moments(self, within: FloatArray) -> tuple[FloatArray, FloatArray]:
        mean = self.weights @ self.common
        away = self.common - mean
        between = (away * self.weights[:, None]).T @ away
        return mean, np.tensordot(self.weights, within, axes=1) + between

    def scatter(self, levels: FloatArray) -> FloatArray:
        """Standard deviation between jobs, over the usual spread, at levels: (levels, unknowns)."""
        columns = [quantiles(column, self.weights, levels) for column in np.sqrt(self.shares).T]
        return np.array(columns).T


class Jobs:
    """Several jobs, and what they say with and without one of them.

    Parameters
    ----------
    jobs : sequence of Seen
    unknowns : int
    """

    def __init__(self, jobs: Sequence[Seen], unknowns: int) -> None:
        self._jobs, self._size = jobs, unknowns
        first = self._drawn(np.tile(CHANCES, (unknowns, 1)), SEED)
        self._take(first)
        found = self._weighed(np.zeros(len(first)))
        # Where the first round puts its weight, drawn again more densely.
        about = np.array(
            [np.bincount(first[:, k], found.weights, len(SHARES)) for k in range(unknowns)]
        ).reshape(unknowns, len(SHARES))
        chances = GUARD * CHANCES + (1 - GUARD) * about
        alike = np.tile(np.arange(len(SHARES)), (unknowns, 1)).T
        places = np.concatenate([first, self._drawn(chances, SEED + 1)])
        usual = np.sum(np.log(CHANCES[places]), axis=1)
        drawn = np.sum(np.log(chances[np.arange(unknowns), places]), axis=1)
        # The balance heuristic: each set by its density over that of both rounds together.
        by_itself = np.log((1 - ALIKE) / DRAWS) + usual - np.logaddexp(usual, drawn)
        self._log_prior = np.concatenate([np.log(ALIKE * CHANCES), by_itself])
        self._take(np.concatenate([alike, places]))

    def population(self) -> Population:
        """From all jobs."""
        return self._weighed(self._log_prior)

    def without(self, place: int) -> Population:
        """From all but one: what it added is taken off again, by Woodbury's formula."""
        of, own = self._jobs[place].of, self._parts[place]
        whole = self._whole
        seen = whole.covariance @ of
        left = own.whole - of.T @ seen
        pull = self._sums.pull - own.pull
        covariance = whole.covariance
        if of.shape[1] > 0:
            inverse = np.asarray(np.linalg.inv(left), dtype=np.float64)
            covariance = covariance + seen @ inverse @ np.swapaxes(seen, 1, 2)
        size = whole.size + np.linalg.slogdet(left)[1] - own.size
        mean = (covariance @ pull[:, :, None])[:, :, 0]
        log_weights = self._sums.evidence - own.evidence + np.sum(pull * mean, axis=1) / 2
        return self._population(log_weights - size / 2 + self._log_prior, mean, covariance)

    def _drawn(self, chances: FloatArray, seed: int) -> IntArray:
        """Places in ``SHARES``, (DRAWS, unknowns), evenly spread over (unknowns, shares)."""
        even = np.asarray(ndtr(standard_normal(DRAWS, self._size, seed)), dtype=np.float64)
        found: IntArray = np.empty((DRAWS, self._size), dtype=np.int64)
        for k, own in enumerate(chances):
            edges = np.cumsum(own)
            found[:, k] = np.searchsorted(edges / edges[-1], even[:, k])
        return found

    def _take(self, places: IntArray) -> None:
        """Go by these sets of shares, (draws, unknowns) places in ``SHARES``."""
        self._shares = SHARES[places]
        draws = len(self._shares)
        self._parts = [_part(job, self._shares) for job in self._jobs]
        precision = np.zeros((draws, self._size, self._size))
        pull, evidence = np.zeros((draws, self._size)), np.zeros(draws)
        for job, part in zip(self._jobs, self._parts, strict=True):
            precision += job.of @ part.inverse @ job.of.T
            pull += part.pull
            evidence += part.evidence
        self._sums = _Sums(precision, pull, evidence)
        common = np.maximum(1 - self._shares, LEAST_COMMON)
        whole = precision + np.eye(self._size) / common[:, None, :]
        # ln|U⁻¹ + P| + ln|U| = ln|1 + U P|
        size = np.linalg.slogdet(whole)[1] + np.sum(np.log(common), axis=1)
        self._whole = _Whole(np.asarray(np.linalg.inv(whole), dtype=np.float64), size)

    def _weighed(self, log_prior: FloatArray) -> Population:
        """By each set's evidence, what is common summed out."""
        pull, covariance = self._sums.pull, self._whole.covariance
        mean = (covariance @ pull[:, :, None])[:, :, 0]
        log_weights = self._sums.evidence + np.sum(pull * mean, axis=1) / 2 - self._whole.size / 2
        return self._population(log_weights + log_prior, mean, covariance)

    def _population(
        self, log_weights: FloatArray, mean: FloatArray, covariance: FloatArray
    ) -> Population:
        weights: FloatArray = np.exp(log_weights - np.max(log_weights))
        return Population(self._shares, weights / np.sum(weights), mean, covariance)


class _Sums(NamedTuple):
    """What all jobs together say of what is common, for each set of shares."""

    precision: FloatArray
    pull: FloatArray
    evidence: FloatArray


class _Whole(NamedTuple):
    """Covariance of what is common, and the logarithm of the determinant of its inverse, over that
    of before."""

    covariance: FloatArray
    size: FloatArray


class _Part(NamedTuple):
    """What one job says of what is common, for each set of shares.

    Parameters
    ----------
    whole, inverse : (draws, readings, readings) array
        Covariance of its readings around what is common, and that inverted.
    size : (draws,) array
        Logarithm of its determinant.
    pull : (draws, unknowns) array
    evidence : (draws,) array
    """

    whole: FloatArray
    inverse: FloatArray
    size: FloatArray
    pull: FloatArray
    evidence: FloatArray


def _part(job: Seen, shares: FloatArray) -> _Part:
    differs = shares + job.more
    across = np.einsum("ki,dk,kj->dij", job.of, differs, job.of, optimize=True)
    whole = across + np.eye(len(job.shown))
    inverse = np.asarray(np.linalg.inv(whole), dtype=np.float64)
    size = np.asarray(np.linalg.slogdet(whole)[1], dtype=np.float64)
    shown = inverse @ job.shown
    return _Part(whole, inverse, size, shown @ job.of.T, -(size + shown @ job.shown) / 2)
