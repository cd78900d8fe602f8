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
from functools import cache, cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.base.small_matrices import inverted
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

DRAWS = 256
"""Sets of shares, beside those of equal shares, which are few and summed over one by one. Other
draws move the next job's means by 0.0004 of their spreads after six jobs and 0.011 after 51, and
the spreads by 0.1 and 0.8 % (rms; at worst 0.04 spreads and 2.5 %)."""

GUARD = 0.3
"""Part of each share's draws that goes by what is believed before."""

TOGETHER = 8
"""Jobs whose readings are added up in one go: quicker than one by one, and small enough for a
processor's cache."""

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
        self._groups = _groups(jobs)
        alike = np.tile(np.arange(len(SHARES)), (unknowns, 1)).T
        told = self._believing(alike)
        chances = GUARD * CHANCES + (1 - GUARD) * self._one_by_one(alike, told)
        places = self._drawn(chances)
        log_prior = np.sum(np.log(CHANCES[places]), axis=1) - np.log(DRAWS)
        log_prior -= np.sum(np.log(chances)[np.arange(unknowns), places], axis=1)
        log_prior = np.concatenate([np.log(ALIKE * CHANCES), np.log(1 - ALIKE) + log_prior])
        self._told = told.beside(self._believing(places))
        self._log_weights = self._told.log_weights + log_prior

    def population(self) -> Population:
        """From all jobs."""
        return self._told.weighed(self._log_weights)

    def next_job_without(self) -> list[tuple[FloatArray, FloatArray]]:
        """What all jobs but one say of the next, for each: mean and covariance."""
        mean = self._told.mean
        found: dict[int, tuple[FloatArray, FloatArray]] = {}
        for group in self._groups:
            moments = self._told.without(group, self._log_weights, mean)
            found.update(zip(group.places, zip(*moments, strict=True), strict=True))
        return [found[place] for place in range(len(self._jobs))]

    def _one_by_one(self, alike: IntArray, told: _Told) -> FloatArray:
        """Chances of each unknown's shares, (unknowns, shares), with all others as they are likely.

        As they are likely where all are alike. Only a guide for what is drawn.
        """
        middle = _normalised(told.log_weights + np.log(CHANCES)) @ np.arange(len(SHARES))
        here = np.full(self._size, round(float(middle)))
        places = np.tile(here, (self._size, len(SHARES), 1))
        for k in range(self._size):
            places[k, :, k] = alike[:, k]
        told = self._believing(places.reshape(-1, self._size))
        log_weights = told.log_weights.reshape(self._size, len(SHARES))
        return _normalised(log_weights + np.log(CHANCES))

    def _drawn(self, chances: FloatArray) -> IntArray:
        """Places in ``SHARES``, (DRAWS, unknowns), evenly spread over (unknowns, shares)."""
        even = np.asarray(ndtr(standard_normal(DRAWS, self._size, SEED)), dtype=np.float64)
        found: IntArray = np.empty((DRAWS, self._size), dtype=np.int64)
        for k, own in enumerate(chances):
            edges = np.cumsum(own)
            found[:, k] = np.searchsorted(edges / edges[-1], even[:, k])
        return found

    def _believing(self, places: IntArray) -> _Told:
        """What all jobs say if these were the shares, (draws, unknowns) places in ``SHARES``."""
        shares = np.concatenate([SHARES[places].T, np.zeros((self._same, len(places)))])
        common = np.maximum(1 - shares, LEAST_COMMON)
        size, evidence = len(shares), np.zeros(len(places))
        lower = _lower(size + 1)
        packed: FloatArray = np.zeros((len(lower[0]), len(places)))
        for group in self._groups:
            told, log_size = inverted(group.covariance(shares))
            # All sums over jobs are straight in what their readings tell: one product of matrices.
            pairs = told[_lower(len(told))]
            packed += group.information.T @ pairs.reshape(-1, len(places))
            evidence -= np.sum(log_size, axis=0) / 2
        sums: FloatArray = np.empty((size + 1, size + 1, len(places)))
        sums[lower] = packed
        precision = sums[:size, :size]
        precision[np.arange(size), np.arange(size)] += 1 / common
        covariance, log_size = inverted(precision)
        # ln|U⁻¹ + P| + ln|U| = ln|1 + U P|
        log_size += np.sum(np.log(common), axis=0)
        evidence -= sums[size, size] / 2
        return _Told(shares, sums[size, :size], evidence, covariance, log_size)


@dataclass(frozen=True)
class _Group:
    """Jobs of much the same number of readings; those of fewer get more that tell nothing.

    Parameters
    ----------
    places : tuple of int
        Of these jobs among all.
    of : (jobs, unknowns, readings) array
    shown : (jobs, readings) array
    more : (jobs, unknowns) array
    """

    places: tuple[int, ...]
    of: FloatArray
    shown: FloatArray
    more: FloatArray

    def covariance(self, shares: FloatArray) -> FloatArray:
        """Of each job's readings, what jobs differ by included, if shares were (unknowns, draws).

        (readings, readings, jobs, draws).
        """
        jobs, unknowns, size = self.of.shape
        products = self.of.transpose(2, 0, 1)[:, None] * self.of.transpose(2, 0, 1)
        across = products.reshape(-1, unknowns) @ shares
        across = across.reshape(size, size, jobs, shares.shape[1])
        across += np.sum(products * self.more, axis=-1)[..., None]
        across[np.arange(size), np.arange(size)] += 1.0
        return across

    @cached_property
    def information(self) -> FloatArray:
        """What each pair of readings, by its place in the covariance's inverse, adds to the sums.

        (pairs, sums), both by the lower triangle. The sums are a matrix of the unknowns and the
        readings' values after them: precision, pull, and squared distance from nothing in common.
        """
        rows = np.concatenate([self.of, self.shown[:, None]], axis=1).transpose(2, 0, 1)
        a, b = _lower(len(rows))
        i, j = _lower(rows.shape[2])
        both = rows[a][..., i] * rows[b][..., j] + rows[b][..., i] * rows[a][..., j]
        both[a == b] /= 2
        return both.reshape(len(a) * self.of.shape[0], len(i))


def _groups(jobs: Sequence[Seen]) -> list[_Group]:
    order = sorted(range(len(jobs)), key=lambda place: len(jobs[place].shown))
    found: list[_Group] = []
    for begin in range(0, len(jobs), TOGETHER):
        places = order[begin : begin + TOGETHER]
        own = [jobs[place] for place in places]
        unknowns, size = own[-1].of.shape
        of, shown = np.zeros((len(own), unknowns, size)), np.zeros((len(own), size))
        for row, job in enumerate(own):
            of[row, :, : len(job.shown)] = job.of
            shown[row, : len(job.shown)] = job.shown
        found.append(_Group(tuple(places), of, shown, np.array([job.more for job in own])))
    return found


@cache
def _lower(size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of a lower triangle."""
    return np.tril_indices(size)


class _Told(NamedTuple):
    """What jobs together say, for each set of shares.

    Parameters
    ----------
    shares : (unknowns, draws) array
    pull : (unknowns, draws) array
        Their sum of readings, over their covariances.
    evidence : (draws,) array
        ln of how probable what was read is with nothing in common, but for a constant.
    covariance : (unknowns, unknowns, draws) array
        Of what is common.
    size : (draws,) array
        ln of the determinant of its inverse, over that of before.
    """

    shares: FloatArray
    pull: FloatArray
    evidence: FloatArray
    covariance: FloatArray
    size: FloatArray

    def beside(self, other: _Told) -> _Told:
        """These sets, and others after them."""
        return _Told(*(np.concatenate(both, axis=-1) for both in zip(self, other, strict=True)))

    @property
    def mean(self) -> FloatArray:
        """Of what is common, (unknowns, draws)."""
        return np.einsum("kld,ld->kd", self.covariance, self.pull)

    @property
    def log_weights(self) -> FloatArray:
        """ln of each set's evidence, what is common summed out, (draws,), but for a constant."""
        return self.evidence + np.sum(self.pull * self.mean, axis=0) / 2 - self.size / 2

    def weighed(self, log_weights: FloatArray) -> Population:
        """As a distribution of sets with (draws,) logarithms of weights."""
        weights, covariance = _normalised(log_weights), self.covariance.transpose(2, 0, 1)
        return Population(self.shares.T, weights, self.mean.T, covariance)

    def without(
        self, group: _Group, log_weights: FloatArray, mean: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Means (jobs, unknowns) and covariances of the next job's unknowns without one of a group.

        From logarithms of the weights by all jobs together, (draws,), and the means of what is
        common, (unknowns, draws). What a job added is taken off again: with its readings of
        covariance X and their sensitivities A, M = X − Aᵀ C A and the misfit e = y − Aᵀ m,
        Woodbury's formula leaves C + C A M⁻¹ Aᵀ C and m − C A M⁻¹ e, and its readings, given all
        others, had the density of ln p = −(2 ln|X| − ln|M| + eᵀ M⁻¹ e)/2.
        """
        unknowns, draws = self.shares.shape
        jobs, _, size = group.of.shape
        flat = group.of.transpose(2, 0, 1).reshape(-1, unknowns)
        # How readings go with what is common, (readings, jobs, unknowns, draws).
        seen = (flat @ self.covariance.reshape(unknowns, -1)).reshape(size, jobs, unknowns, draws)
        covariance = group.covariance(self.shares)
        log_size = inverted(covariance)[1]
        covariance -= np.einsum("ajkd,jkb->abjd", seen, group.of)
        left, log_left = inverted(covariance)
        misfit = group.shown.T[:, :, None] - (flat @ mean).reshape(size, jobs, draws)
        step = np.einsum("abjd,bjd->ajd", left, misfit)
        log_density = log_left / 2 - log_size - np.sum(misfit * step, axis=0) / 2
        own = _normalised(log_weights - log_density)
        away = mean - np.einsum("ajkd,ajd->jkd", seen, step)
        middle = np.einsum("jd,jkd->jk", own, away)
        away -= middle[:, :, None]
        around = (own @ self.covariance.reshape(-1, draws).T).reshape(jobs, unknowns, unknowns)
        around += (own[:, None] * away) @ away.transpose(0, 2, 1)
        turned = np.einsum("abjd,bjkd->ajkd", left * own, seen)
        around += np.sum(turned @ seen.transpose(0, 1, 3, 2), axis=0)
        around[:, np.arange(unknowns), np.arange(unknowns)] += own @ self.shares.T
        return middle, around


def _normalised(log_weights: FloatArray) -> FloatArray:
    """Weights that sum to 1 along the last axis."""
    weights: FloatArray = np.exp(log_weights - np.max(log_weights, axis=-1, keepdims=True))
    return weights / np.sum(weights, axis=-1, keepdims=True)
