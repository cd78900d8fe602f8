"""Which uncertain input matters most for an answer: variance-based sensitivity indices.

For an answer y of independent inputs x₁ … x_n:

    first-order index of x_i    Var(E(y | x_i)) / Var(y)         goes once x_i is known
    total index of x_i          E(Var(y | all but x_i)) / Var(y)    stays while only x_i is unknown

First-order indices sum to 1 or less, total ones to 1 or more; what lies between is what inputs do
together. Both are estimated from n + 2 designs a draw: two independent points, and the first one
with each coordinate in turn taken from the second.

Source: Sobol', Mathematics and Computers in Simulation 55 (2001) 271; Saltelli and others, Computer
Physics Communications 181 (2010) 259. Both are as SALib, which does the estimating, cites them.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import Any, cast

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.many.sampling import fixed_points

CONFIDENCE = 0.95
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
        Strictly between 0 and 1, a draw's designs behind each other.

    Raises
    ------
    ImportError
        SALib is not installed.
    """
    sobol = importlib.import_module("SALib.sample.sobol")
    drawn = sobol.sample(_problem(inputs), draws, calc_second_order=False, seed=seed + 1)
    return fixed_points(drawn)


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
    ImportError
        SALib is not installed.
    """
    sobol = importlib.import_module("SALib.analyze.sobol")
    keep = whole_draws(answers, inputs)
    draws = answers.reshape(-1, inputs + 2)[keep]
    if draws.size == 0 or np.ptp(draws) == 0:
        raise NoVarianceError
    own = draws[:, [0, -1]]  # of the independent points
    found = sobol.analyze(
        _problem(inputs),
        draws.ravel(),
        calc_second_order=False,
        num_resamples=RESAMPLES,
        conf_level=CONFIDENCE,
        seed=seed + 1,  # 0 would be taken for none
    )
    first, first_95, total, total_95 = (
        np.asarray(found[key], dtype=np.float64) for key in ("S1", "S1_conf", "ST", "ST_conf")
    )
    return Indices(
        first=first,
        first_95=first_95,
        total=total,
        total_95=total_95,
        mean=float(np.mean(own)),
        standard_deviation=float(np.std(own)),
        draws=len(draws),
    )


def _problem(inputs: int) -> dict[str, Any]:
    names = [f"x{i}" for i in range(inputs)]
    return {"num_vars": inputs, "names": names, "bounds": [[0.0, 1.0]] * inputs}
