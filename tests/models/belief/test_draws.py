from __future__ import annotations

import numpy as np
import pytest

from warmbranch.belief.draws import quantiles, standard_normal


def test_moments_are_exact():
    drawn = standard_normal(128, 9)
    np.testing.assert_allclose(drawn.mean(axis=0), 0, rtol=0, atol=1e-12)
    np.testing.assert_allclose(drawn.T @ drawn / 128, np.eye(9), rtol=0, atol=1e-12)


def test_each_column_is_normal():
    from scipy.stats import kstest

    for column in standard_normal(256, 8).T:
        # Half of the independent samples of this size fail this.
        assert kstest(column, "norm").statistic < 0.052


def test_equal_seeds_give_equal_draws_and_others_do_not():
    np.testing.assert_array_equal(standard_normal(64, 3, 1), standard_normal(64, 3, 1))
    assert not np.allclose(standard_normal(64, 3, 1), standard_normal(64, 3, 2), atol=0.1)


def test_draws_cannot_be_changed_by_accident():
    with pytest.raises(ValueError, match="read-only"):
        standard_normal(16, 2)[0, 0] = 1.0


def test_nothing_unknown_is_no_dimension():
    assert standard_normal(16, 0).shape == (16, 0)


def test_quantiles_of_a_smooth_answer_are_steadier_than_by_independent_draws():
    """The reason for the hypercube."""

    def spread(draw) -> float:
        found = []
        for seed in range(40):
            answer = draw(seed) @ np.array([1.0, 0.5, 0.3, 0.2])
            found.append(quantiles(answer, np.full(128, 1 / 128), np.array([0.5]))[0])
        return float(np.std(found))

    independent = spread(lambda seed: np.random.default_rng(seed).normal(size=(128, 4)))
    # Twice as many independent draws would be needed: the spread falls by 1.4, here with a margin.
    assert spread(lambda seed: standard_normal(128, 4, seed)) < independent / 1.3


def test_weighted_quantiles_of_a_normal_by_weights():
    """Evenly spread values weighted by the normal density."""
    from scipy.stats import norm

    values = np.linspace(-6, 6, 4001)
    weights = norm.pdf(values)
    found = quantiles(values, weights / weights.sum(), np.array([0.05, 0.5, 0.95]))
    # The grid's spacing, 3e-3, bounds the error.
    np.testing.assert_allclose(found, norm.ppf([0.05, 0.5, 0.95]), rtol=0, atol=3e-3)
