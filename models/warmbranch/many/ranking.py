"""Which uncertain input matters most for an answer: variance-based sensitivity indices.

For an answer y of independent inputs x₁ … x_n:

    first-order index of x_i    Var(E(y | x_i)) / Var(y)         goes once x_i is known
    total index of x_i          E(Var(y | all but x_i)) / Var(y)    stays while only x_i is unknown

First-order indices sum to 1 or less, total ones to 1 or more; what lies between is what inputs do
together. Both are estimated from n + 2 designs a draw: two independent points, and the first one
with each coordinate in turn taken from the second.

Source: Sobol', Mathematics and Computers in Simulation 55 (2001) 271; the estimators are those of
Saltelli and others, Computer Physics Communications 181 (2010) 259, table 2, (b) and (f), the
latter Jansen's. A few lines of numpy, checked against scipy's ``sobol_indices``, in place of a
package that brings pandas and matplotlib.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.many.sampling import SobolPoints, fixed_points

WIDTHS_95 = 1.959964
"""Standard deviations of a normal distribution to either side that hold 95 %."""

RESAMPLES = 200
"""From which the intervals are found: their width is then good to some 5 %."""


class NoVarianceError(Exception):
    """The answer is the same for all designs: nothing can be ranked."""


@dataclass(frozen=True)
class Indices:
    """Sensitivity indices of one answer.

    Attributes
    ----------
    first, total : (inputs,) array
        Estimates; of an index near 0 they may fall below it.
    first_95, total_95 : (inputs,) array
        Half-width of the 95 % interval, by resampling.
    mean, standard_deviation : float
        Of the answer, in its unit.
    draws : int
        Draws that were used.
    """

    first: FloatArray
    first_95: FloatArray
    total: FloatArray
    total_95: FloatArray
    mean: float
    standard_deviation: float
    draws: int


def ranking_points(draws: int, inputs: int, seed: int) -> FloatArray:
    """The designs to solve, as probabilities of each input.

    Parameters
    ----------
    draws : int
        A power of two.
    inputs, seed : int

    Returns
    -------
    (draws * (inputs + 2), inputs) array
        Strictly between 0 and 1, a draw's designs behind each other: its first point, that with
        each coordinate in turn taken from the second one, its second point.
    """
    drawn = SobolPoints(draws, 2 * inputs, seed + 1).between(0, draws)
    one, other = drawn[:, :inputs], drawn[:, inputs:]
    points = np.repeat(one[:, None, :], inputs + 2, axis=1)
    for i in range(inputs):
        points[:, 1 + i, i] = other[:, i]
    points[:, -1] = other
    return fixed_points(points.reshape(-1, inputs))


def whole_draws(answers: FloatArray, inputs: int) -> BoolArray:
    """Which draws have an answer of every design, (draws,); ``answers`` as in ``indices``."""
    return cast("BoolArray", np.isfinite(answers.reshape(-1, inputs + 2)).all(axis=1))


def indices(answers: FloatArray, inputs: int, seed: int) -> Indices:
    """Indices from the answers of the designs of ``ranking_points``.

    Parameters
    ----------
    answers : (draws * (inputs + 2),) array
        NaN where a design has none: its draw is left out.
    inputs, seed : int

    Raises
    ------
    NoVarianceError
    """
    keep = whole_draws(answers, inputs)
    draws = answers.reshape(-1, inputs + 2)[keep]
    if draws.size == 0 or np.ptp(draws) == 0:
        raise NoVarianceError
    first, total = _estimates(draws)
    generator = np.random.default_rng(seed)
    resampled = np.array(
        [
            _estimates(draws[generator.integers(len(draws), size=len(draws))])
            for _ in range(RESAMPLES)
        ]
    )
    first_95, total_95 = WIDTHS_95 * np.std(resampled, axis=0, ddof=1)
    own = draws[:, [0, -1]]  # of the independent points
    return Indices(
        first=first,
        first_95=first_95,
        total=total,
        total_95=total_95,
        mean=float(np.mean(own)),
        standard_deviation=float(np.std(own)),
        draws=len(draws),
    )


def _estimates(draws: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First-order and total indices, (inputs,) each, from answers as (draws, inputs + 2)."""
    centred = draws - np.mean(draws[:, [0, -1]])
    one, mixed, other = centred[:, :1], centred[:, 1:-1], centred[:, -1:]
    variance = np.var(centred[:, [0, -1]])
    first = np.mean(other * (mixed - one), axis=0) / variance
    total = np.mean((one - mixed) ** 2, axis=0) / (2 * variance)
    return first, total
