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

FEWER = 512
"""Sets of shares by which each job is predicted from all others: with 51 jobs their mean then lies
within 0.01 spreads of that by all sets, a fifth of what other draws would move."""

TOGETHER = 16
"""Jobs whose readings are added up in one go: quicker than one by one, and of bounded memory."""

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
        mean = self.weights @ self.common
        away = self.common - mean
        between = (away * self.weights[:, None]).T @ away
        size = len(mean)
        within = self.weights @ self.common_covariance.reshape(-1, size * size)
        return mean, within.reshape(size, size) + between

    def next_job(self) -> tuple[FloatArray, FloatArray]:
        """Mean and covariance of the next job's unknowns."""
        mean, covariance = self.common_moments()
        return mean, covariance + np.diag(self.weights @ self.shares)

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
        That jobs have in common and differ in.
    same : int
        Those after them, which are the same in all jobs that know them.
    """

    def __init__(self, jobs: Sequence[Seen], unknowns: int, same: int = 0) -> None:
        self._jobs, self._size, self._same = jobs, unknowns, same
        places = self._drawn(np.tile(CHANCES, (unknowns, 1)), SEED)
        first = self._believing(places)
        found = first.weighed(np.zeros(len(places)))
        # Where the first round puts its weight, drawn again more densely.
        about = np.array(
            [np.bincount(places[:, k], found.weights, len(SHARES)) for k in range(unknowns)]
        ).reshape(unknowns, len(SHARES))
        chances = GUARD * CHANCES + (1 - GUARD) * about
        alike = np.tile(np.arange(len(SHARES)), (unknowns, 1)).T
        more = self._drawn(chances, SEED + 1)
        further = self._believing(np.concatenate([alike, more]))
        places = np.concatenate([more, places])
        usual = np.sum(np.log(CHANCES[places]), axis=1)
        drawn = np.sum(np.log(chances[np.arange(unknowns), places]), axis=1)
        # The balance heuristic: each set by its density over that of both rounds together.
        by_itself = np.log((1 - ALIKE) / DRAWS) + usual - np.logaddexp(usual, drawn)
        self._log_prior = np.concatenate([np.log(ALIKE * CHANCES), by_itself])
        self._told = _Told(*map(np.concatenate, zip(further, first, strict=True)))
        self._all = self._told.weighed(self._log_prior)
        # Fewer, evenly taken, for what all but one say: by the root of their weights, as without
        # one job others count more.
        chance = np.sqrt(self._all.weights)
        edges = np.cumsum(chance / np.sum(chance))
        even = np.searchsorted(edges / edges[-1], (np.arange(FEWER) + 0.5) / FEWER)
        some, times = np.unique(even, return_counts=True)
        log_prior = self._log_prior[some] + np.log(times / chance[some])
        self._some = _Told(*(part[some] for part in self._told)), log_prior

    def population(self) -> Population:
        """From all jobs."""
        return self._all

    def without(self, place: int) -> Population:
        """From all but one: what it added is taken off again, by Woodbury's formula."""
        told, log_prior = self._some
        own = _added(self._jobs[place], told.shares)
        pull = told.pull - (own.of.transpose(0, 2, 1) @ own.shown[:, :, None])[:, :, 0]
        seen = told.covariance @ own.of.transpose(0, 2, 1)
        left = np.eye(own.shown.shape[1]) - own.of @ seen
        inverse = np.asarray(np.linalg.inv(left), dtype=np.float64)
        covariance = told.covariance + seen @ inverse @ seen.transpose(0, 2, 1)
        size = told.size + np.linalg.slogdet(left)[1]
        evidence = told.evidence - own.evidence
        return _Told(told.shares, pull, evidence, covariance, size).weighed(log_prior)

    def _drawn(self, chances: FloatArray, seed: int) -> IntArray:
        """Places in ``SHARES``, (DRAWS, unknowns), evenly spread over (unknowns, shares)."""
        even = np.asarray(ndtr(standard_normal(DRAWS, self._size, seed)), dtype=np.float64)
        found: IntArray = np.empty((DRAWS, self._size), dtype=np.int64)
        for k, own in enumerate(chances):
            edges = np.cumsum(own)
            found[:, k] = np.searchsorted(edges / edges[-1], even[:, k])
        return found

    def _believing(self, places: IntArray) -> _Told:
        """What all jobs say if these were the shares, (draws, unknowns) places in ``SHARES``."""
        draws = len(places)
        shares = np.concatenate([SHARES[places], np.zeros((draws, self._same))], axis=1)
        common = np.maximum(1 - shares, LEAST_COMMON)
        precision: FloatArray = np.eye(shares.shape[1]) / common[:, None, :]
        pull, evidence = np.zeros(shares.shape), np.zeros(draws)
        for begin in range(0, len(self._jobs), TOGETHER):
            own = [_added(job, shares) for job in self._jobs[begin : begin + TOGETHER]]
            of = np.concatenate([one.of for one in own], axis=1)
            shown = np.concatenate([one.shown for one in own], axis=1)
            turned = of.transpose(0, 2, 1)
            precision += turned @ of
            pull += (turned @ shown[:, :, None])[:, :, 0]
            evidence += np.sum([one.evidence for one in own], axis=0)
        # ln|U⁻¹ + P| + ln|U| = ln|1 + U P|
        size = np.linalg.slogdet(precision)[1] + np.sum(np.log(common), axis=1)
        covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
        return _Told(shares, pull, evidence, covariance, size)


class _Told(NamedTuple):
    """What jobs together say, for each set of shares.

    Parameters
    ----------
    shares : (draws, unknowns) array
    pull : (draws, unknowns) array
        Their sum of readings, over their covariances.
    evidence : (draws,) array
        ln of how probable what was read is with nothing in common, but for a constant.
    covariance : (draws, unknowns, unknowns) array
        Of what is common.
    size : (draws,) array
        ln of the determinant of its inverse, over that of before.
    """

    shares: FloatArray
    pull: FloatArray
    evidence: FloatArray
    covariance: FloatArray
    size: FloatArray

    def weighed(self, log_prior: FloatArray) -> Population:
        """By each set's evidence, what is common summed out."""
        mean = (self.covariance @ self.pull[:, :, None])[:, :, 0]
        log_weights = self.evidence + np.sum(self.pull * mean, axis=1) / 2 - self.size / 2
        log_weights = log_weights + log_prior
        weights: FloatArray = np.exp(log_weights - np.max(log_weights))
        return Population(self.shares, weights / np.sum(weights), mean, self.covariance)


class _Added(NamedTuple):
    """What one job says of what is common, for each set of shares, as readings of unit error.

    Parameters
    ----------
    of : (draws, readings, unknowns) array
    shown : (draws, readings) array
    evidence : (draws,) array
    """

    of: FloatArray
    shown: FloatArray
    evidence: FloatArray


def _added(job: Seen, shares: FloatArray) -> _Added:
    size = len(job.shown)
    products = (job.of[:, :, None] * job.of[:, None, :]).reshape(len(job.of), size * size)
    across = ((shares + job.more) @ products).reshape(len(shares), size, size)
    root = np.asarray(np.linalg.cholesky(across + np.eye(size)), dtype=np.float64)
    # What differs between jobs makes their readings' errors go together; the root of that takes
    # them apart again, row by row for all sets at once.
    right = np.concatenate([job.of.T, job.shown[:, None]], axis=1)
    apart: FloatArray = np.empty((len(root), *right.shape))
    for i in range(size):
        known = (root[:, None, i, :i] @ apart[:, :i])[:, 0]
        apart[:, i] = (right[i] - known) / root[:, i, i, None]
    shown = apart[:, :, -1]
    log_size = 2 * np.sum(np.log(np.diagonal(root, axis1=1, axis2=2)), axis=1)
    return _Added(apart[:, :, :-1], shown, -(log_size + np.sum(shown**2, axis=1)) / 2)
