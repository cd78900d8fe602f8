"""Points and distributions: against scipy, closed forms, and themselves in pieces."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from warmbranch.many.sampling import (
    GivenPoints,
    GridPoints,
    LatinHypercubePoints,
    ListPoints,
    Lognormal,
    Normal,
    SobolPoints,
    Uniform,
)

PROBABILITIES = np.array([1e-9, 1e-3, 0.1, 0.5, 0.77, 0.999, 1 - 1e-9])


def test_grid_is_the_product_with_the_last_fastest():
    points = GridPoints([2, 3, 2])
    assert points.count == 12
    expected = list(itertools.product(range(2), range(3), range(2)))
    assert points.between(0, 12).astype(int).tolist() == [list(p) for p in expected]
    assert points.between(10, 99).tolist() == [[1, 2, 0], [1, 2, 1]]


def test_list_goes_along_all_inputs_at_once():
    assert ListPoints(3, 2).between(1, 99).tolist() == [[1, 1], [2, 2]]


def test_sobol_is_scipys(stats):
    """At a power of two, beside scipy's own scrambled sequence; moved by half a cell."""
    expected = stats.qmc.Sobol(5, rng=7).random_base2(6)
    found = SobolPoints(64, 5, 7).between(0, 64)
    np.testing.assert_array_equal(found, expected + 2.0**-31)


@pytest.mark.parametrize("kind", [SobolPoints, LatinHypercubePoints])
@pytest.mark.parametrize("count", [1, 7, 100, 128])
def test_any_stretch_is_the_same_whatever_was_asked_before(kind, count):
    whole = kind(count, 3, 11).between(0, count)
    assert whole.shape == (count, 3)
    assert np.all((whole > 0) & (whole < 1))
    points = kind(count, 3, 11)
    for start, stop in ((count // 2, count), (0, count // 2), (count // 3, count), (0, count)):
        np.testing.assert_array_equal(points.between(start, stop), whole[start:stop])


@pytest.mark.parametrize("kind", [SobolPoints, LatinHypercubePoints])
def test_seeds_tell_samples_apart(kind):
    one, again, other = (kind(16, 2, seed).between(0, 16) for seed in (1, 1, 2))
    np.testing.assert_array_equal(one, again)
    assert not np.any(one == other)


def test_latin_hypercube_has_each_slice_once():
    points = LatinHypercubePoints(50, 4, 3).between(0, 50)
    for column in points.T:
        assert sorted((column * 50).astype(int)) == list(range(50))


def test_sobol_is_more_even_than_chance(stats):
    """Centred discrepancy, by scipy; independent draws of 256 points in 4 dimensions have 50
    times as much as scrambled Sobol points, a factor of 5 is asked."""
    sobol = stats.qmc.discrepancy(SobolPoints(256, 4, 0).between(0, 256))
    chance = stats.qmc.discrepancy(np.random.default_rng(0).random((256, 4)))
    assert sobol < chance / 5


def test_given_points_are_as_given():
    points = GivenPoints(np.array([[0.25, 0.5], [0.75, 0.125]]))
    assert (points.count, points.dimensions) == (2, 2)
    assert points.between(1, 9).tolist() == [[0.75, 0.125]]


@pytest.fixture(scope="module")
def stats():
    """Slow to import."""
    from scipy import stats

    return stats


def _truncated(stats, low, high, mean=310.0, deviation=30.0):
    return stats.truncnorm((low - mean) / deviation, (high - mean) / deviation, mean, deviation)


@pytest.mark.parametrize(
    ("own", "scipys"),
    [
        (Uniform(-3, 7), lambda stats: stats.uniform(-3, 10)),
        (Normal(310, 30), lambda stats: stats.norm(310, 30)),
        (Normal(310, 30, 280, 400), lambda stats: _truncated(stats, 280, 400)),
        (Normal(310, 30, low=300), lambda stats: _truncated(stats, 300, math.inf)),
        (Lognormal(0.15, 0.8), lambda stats: stats.lognorm(0.8, scale=0.15)),
    ],
)
def test_quantiles_are_scipys(own, scipys, stats):
    # 1e-9: at probabilities of 1e-9 from an end, truncnorm works in logarithms and we do not.
    np.testing.assert_allclose(
        own.quantile(PROBABILITIES), scipys(stats).ppf(PROBABILITIES), rtol=1e-9
    )


def test_lognormal_within_limits_is_the_exponential_of_a_normal_within_limits(stats):
    own = Lognormal(0.15, 0.8, 0.05, 0.5)
    logarithm = Normal(math.log(0.15), 0.8, math.log(0.05), math.log(0.5))
    np.testing.assert_allclose(
        own.quantile(PROBABILITIES), np.exp(logarithm.quantile(PROBABILITIES)), rtol=1e-15
    )
    assert own.share == logarithm.share
    # Φ(1.50…) − Φ(−1.37…), by scipy.
    expected = stats.norm.cdf(math.log(0.5 / 0.15) / 0.8) - stats.norm.cdf(math.log(1 / 3) / 0.8)
    assert own.share == pytest.approx(expected, rel=1e-12)


def test_moments_of_a_sample_are_the_closed_forms(stats):
    """Mean and variance of each distribution, textbook closed forms; truncated normal after
    Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 1, from memory."""
    points = SobolPoints(2**14, 4, 5).between(0, 2**14)
    low, high = (280 - 310) / 30, (400 - 310) / 30
    density = stats.norm.pdf
    share = stats.norm.cdf(high) - stats.norm.cdf(low)
    shift = (density(low) - density(high)) / share
    squeeze = 1 + (low * density(low) - high * density(high)) / share - shift**2
    cases = [
        (Uniform(-3, 7), 2.0, 100 / 12),
        (Normal(310, 30), 310.0, 900.0),
        (Normal(310, 30, 280, 400), 310 + 30 * shift, 900 * squeeze),
        (
            Lognormal(0.15, 0.8),
            0.15 * math.exp(0.32),
            0.15**2 * math.exp(0.64) * (math.exp(0.64) - 1),
        ),
    ]
    for column, (own, mean, variance) in zip(points.T, cases, strict=True):
        sample = own.quantile(column)
        # Quasi-random means err by about 1/n here, far below 0.1 %; variances of a heavy tail
        # by a few in a thousand.
        assert np.mean(sample) == pytest.approx(mean, rel=1e-3)
        assert np.var(sample) == pytest.approx(variance, rel=5e-3)
