"""The search for the most probable set of unknowns, by damped Gauss–Newton steps.

White coordinates throughout: the prior is normal with mean 0 and spread 1 in each.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, cast

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray

DEGREES_OF_FREEDOM = 4.0
"""Of Student's distribution of a misfit: near the normal one at the core, far from it in the
tails. A usual choice where a few readings in a hundred may be wild."""

BOUND = 3.29
"""White coordinates are searched within this, which holds 99.9 % of each prior."""

PROMISE = 0.03
"""Rise of ln(probability) that a step must promise, or make, for another one to follow: after so
small a step the search, converging fast, is much closer to the best set than that set's
uncertainty, and the set only guides the draws that follow."""

RISE, FURTHER, SLACK = 4.0, 5.0, 1.0
"""How far a search may still rise: to a fourth of a start's ln(probability), and by five times what
a step promises and one more. Of 230 searches from starts that draws told none rose to less than a
third of its start, and of 72 none by more than 4.6 times what a step promised, unless that was
less than 1 and the rise less than 5."""

TOGETHER = 8
"""Residuals whose likelihoods are multiplied before a logarithm is taken."""

MOST_FIT_STEPS = 60
MOST_CAUTION = 1e5
"""Factor on the dampings beyond which a step that does not help is no step any more."""

REWEIGHTED = 5
DAMPINGS = np.array([0.0, 1.0, 10.0, 100.0])
"""Tried side by side in each step, over the prior's own unit curvature."""


class Climbable(Protocol):
    """What can be searched: the model, or a stand-in for it."""

    def misfits(self, white: FloatArray) -> FloatArray:
        """Residuals over their uncertainties, (sets, residuals), of (sets, unknowns)."""
        ...

    def slopes(self, row: int) -> FloatArray:
        """Slopes (residuals, unknowns) at one set of the last call of ``misfits``."""
        ...


@dataclass(frozen=True)
class Summit:
    """Where a search ended.

    Parameters
    ----------
    white : (unknowns,) array
    precision : (unknowns, unknowns) array
        Curvature before the last step: inverse of Laplace's covariance.
    at_bound : (unknowns,) array of bool
    converged : bool
    steps : int
    """

    white: FloatArray
    precision: FloatArray
    at_bound: BoolArray
    converged: bool
    steps: int


def log_posterior(white: FloatArray, misfits: FloatArray) -> FloatArray:
    """Logarithm of likelihood times prior, (sets,), but for a constant."""
    value = log_likelihood(misfits) - np.sum(white**2, axis=1) / 2
    return np.where(np.isnan(value), -np.inf, value)  # sets without a solution


def log_likelihood(misfits: FloatArray, axis: int = -1) -> FloatArray:
    """Logarithm of Student's density of misfits, residuals on an axis, but for a constant."""
    nu = DEGREES_OF_FREEDOM
    parts = np.moveaxis(1 + misfits**2 / nu, axis, 0)
    total = np.zeros(parts.shape[1:])
    # One logarithm of a product in place of many; of so few that it stays a number.
    for first in range(0, len(parts), TOGETHER):
        total += np.log(np.prod(parts[first : first + TOGETHER], axis=0))
    return -(nu + 1) / 2 * total


def climb(
    target: Climbable,
    starts: FloatArray,
    promise: float = PROMISE,
    *,
    least: float = -np.inf,
) -> Summit:
    """Search from the best of some (starts, unknowns) white coordinates.

    ``promise`` is the rise of ln(probability) below which no further step is worth it; where
    ``least`` will not be reached, none is.
    """
    size = starts.shape[1]
    starts = np.clip(starts, -BOUND, BOUND)
    misfits = target.misfits(starts)
    values = log_posterior(starts, misfits)
    row = int(np.argmax(values))
    white, here = starts[row], float(values[row])
    precision, steps, caution = np.eye(size), 0, 1.0
    converged, lost = size == 0, here < RISE * least  # nothing to search for, and nothing to find
    slopes = np.empty((misfits.shape[1], size)) if converged or lost else target.slopes(row)
    while steps < MOST_FIT_STEPS and not (converged or lost) and caution <= MOST_CAUTION:
        steps += 1
        misfit = misfits[row]
        weight = (DEGREES_OF_FREEDOM + 1) / (DEGREES_OF_FREEDOM + misfit**2)
        uphill: FloatArray = -(slopes.T @ (weight * misfit) + white)
        precision = slopes.T @ (weight[:, None] * slopes) + np.eye(size)
        free: BoolArray = (np.abs(white) < BOUND) | (uphill * white < 0)
        trials: FloatArray = np.tile(white, (len(DAMPINGS), 1))
        trials[:, free] += _steps(white[free], misfit, slopes[:, free], DAMPINGS * caution)
        trials = np.clip(trials, -BOUND, BOUND)
        # A step by weights found anew may lead downhill, and one by the present weights sees no
        # wild reading that is about to fit: what either promises, or what was gained.
        own: FloatArray = uphill[free]
        straight = cast("FloatArray", np.linalg.solve(precision[free][:, free], own))
        promised = max(float(uphill @ (trials[0] - white)), float(own @ straight)) / 2
        lost = here + FURTHER * promised + SLACK < least
        if lost:
            break
        tried = target.misfits(trials)
        values = log_posterior(trials, tried)
        best = int(np.argmax(values))
        converged = max(float(promised), float(values[best]) - here) < promise
        if values[best] > here:
            white, here = trials[best], float(values[best])
            misfits, row, caution = tried, best, 1.0
            slopes = slopes if converged else target.slopes(row)
        else:
            caution *= 100.0
    return Summit(white, precision, np.abs(white) >= BOUND, converged, steps)


def _steps(
    white: FloatArray, misfit: FloatArray, slopes: FloatArray, dampings: FloatArray
) -> FloatArray:
    """Steps, (dampings, unknowns), to the best set, were the model straight from here on.

    Weights of Student's distribution are found anew with each turn, which costs no solution of
    the model.
    """
    steps: FloatArray = np.zeros((len(dampings), len(white)))
    unit = np.eye(len(white)) * (1 + dampings)[:, None, None]
    for _ in range(REWEIGHTED):
        then = misfit + steps @ slopes.T
        weighted = slopes.T * ((DEGREES_OF_FREEDOM + 1) / (DEGREES_OF_FREEDOM + then**2))[:, None]
        downhill = weighted @ misfit + white
        solved = np.linalg.solve(weighted @ slopes + unit, -downhill[:, :, None])
        steps = np.asarray(solved[:, :, 0], dtype=np.float64)
    return steps
