from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from warmbranch.fit.search import BOUND, climb, log_posterior


class Straight:
    """Misfits that are straight in the unknowns."""

    def __init__(self, matrix: np.ndarray, offset: np.ndarray) -> None:
        self.matrix, self.offset = matrix, offset
        self.looked = 0

    def misfits(self, white: np.ndarray) -> np.ndarray:
        self.looked += 1
        return self.offset + white @ self.matrix.T

    def slopes(self, row: int) -> np.ndarray:
        return self.matrix


class Curved(Straight):
    """Misfits that bend, so that whole steps overshoot."""

    def misfits(self, white: np.ndarray) -> np.ndarray:
        self.white = white
        return self.offset + np.exp(3 * white) @ self.matrix.T

    def slopes(self, row: int) -> np.ndarray:
        return self.matrix * (3 * np.exp(3 * self.white[row]))


def optimum(target) -> np.ndarray:
    size = target.matrix.shape[1]

    def value(white: np.ndarray) -> float:
        return -float(log_posterior(white[None], target.misfits(white[None]))[0])

    starts = [np.zeros(size), np.full(size, 0.5), np.full(size, -0.5)]
    found = [minimize(value, start, method="BFGS", options={"gtol": 1e-9}) for start in starts]
    return min(found, key=lambda one: one.fun).x


@pytest.mark.parametrize("kind", [Straight, Curved])
def test_finds_what_a_general_minimiser_finds(kind):
    rng = np.random.default_rng(9)
    target = kind(rng.normal(size=(7, 3)), rng.normal(size=7))
    summit = climb(target, np.zeros((1, 3)))
    assert summit.converged
    apart = summit.white - optimum(target)
    # The search leaves on purpose what is small beside the estimate's own uncertainty.
    assert np.sqrt(apart @ summit.precision @ apart) < 0.15


def test_a_straight_problem_takes_two_looks_after_the_start():
    rng = np.random.default_rng(10)
    target = Straight(rng.normal(size=(6, 4)), rng.normal(size=6))
    climb(target, np.zeros((1, 4)))
    assert target.looked <= 3


def test_starts_at_the_best_of_the_starts():
    target = Straight(np.eye(2), np.array([-1.0, 1.0]))
    near = np.array([[3.0, 3.0], [0.5, -0.5]])
    summit = climb(target, near)
    assert summit.steps == 1
    np.testing.assert_allclose(summit.white, [0.55, -0.55], rtol=0, atol=0.1)


def test_stays_within_the_bounds_and_says_so():
    pull = np.zeros((60, 2))
    pull[:, 0] = 1.0  # sixty residuals that all want 8, far outside
    target = Straight(pull, np.full(60, -8.0))
    summit = climb(target, np.zeros((1, 2)))
    assert summit.at_bound.tolist() == [True, False]
    assert summit.white[0] == BOUND


def test_without_unknowns_there_is_nothing_to_search():
    target = Straight(np.empty((3, 0)), np.ones(3))
    summit = climb(target, np.zeros((1, 0)))
    assert summit.converged
    assert summit.steps == 0


def test_sets_without_a_solution_are_never_chosen():
    values = log_posterior(np.zeros((2, 1)), np.array([[np.nan], [50.0]]))
    assert values[0] == -np.inf
    assert np.isfinite(values[1])
