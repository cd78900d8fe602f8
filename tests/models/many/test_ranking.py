"""Sensitivity indices: against functions whose indices are known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from warmbranch.many.ranking import NoVarianceError, indices, ranking_points, whole_draws
from warmbranch.many.sampling import Normal, Uniform

DRAWS = 4096


def ishigami(points, a=7.0, b=0.1):
    """sin x₁ + a sin² x₂ + b x₃⁴ sin x₁, each x uniform from −π to π."""
    x = Uniform(-math.pi, math.pi).quantile(points)
    return np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])


def ishigami_indices(a=7.0, b=0.1):
    """Closed form; Ishigami and Homma, Proc. ISUMA (1990) 398, as Saltelli and others give it in
    Sensitivity Analysis (2000), section 2.9.3; from memory, and so worked out anew by quadrature
    in the test that follows."""
    one = (1 + b * math.pi**4 / 5) ** 2 / 2
    two = a**2 / 8
    both = 8 * b**2 * math.pi**8 / 225
    variance = one + two + both
    first = np.array([one, two, 0.0]) / variance
    total = np.array([one + both, two, both]) / variance
    return first, total, variance


def test_closed_form_of_ishigami_is_that_of_quadrature():
    """On 64 Gauss-Legendre points each way, which integrate the function to rounding."""
    nodes, weights = np.polynomial.legendre.leggauss(64)
    share = weights / 2
    grid = np.stack(np.meshgrid(*[(nodes + 1) / 2] * 3, indexing="ij"), axis=-1)
    values = ishigami(grid.reshape(-1, 3)).reshape(64, 64, 64)

    def mean(array, axes):
        for axis in sorted(axes, reverse=True):
            array = np.tensordot(array, share, axes=(axis, 0))
        return array

    mean_all = mean(values, (0, 1, 2))
    variance = mean(values**2, (0, 1, 2)) - mean_all**2
    first, total, expected = ishigami_indices()
    assert variance == pytest.approx(expected, rel=1e-10)
    for i in range(3):
        others = [axis for axis in range(3) if axis != i]
        alone = np.sum(share * mean(values, others) ** 2) - mean_all**2
        assert alone / variance == pytest.approx(first[i], abs=1e-10)
        known = mean(values, (i,))
        rest = np.einsum("i,j,ij->", share, share, known**2) - mean_all**2
        assert 1 - rest / variance == pytest.approx(total[i], abs=1e-10)


def test_indices_of_ishigami():
    points = ranking_points(DRAWS, 3, seed=0)
    assert points.shape == (DRAWS * 5, 3)
    assert np.all((points > 0) & (points < 1))
    found = indices(ishigami(points), 3, seed=0)
    first, total, variance = ishigami_indices()
    # Quasi-random draws err less than the intervals, which are those of random ones, say; three of
    # their standard deviations would let one test in 60 fail, were they independent.
    assert np.all(np.abs(found.first - first) < 1.5 * found.first_95)
    assert np.all(np.abs(found.total - total) < 1.5 * found.total_95)
    assert np.all(found.first_95 < 0.06)
    assert np.all(found.total_95 < 0.06)
    assert found.mean == pytest.approx(3.5, abs=0.05)  # a / 2
    assert found.standard_deviation == pytest.approx(math.sqrt(variance), rel=0.01)
    assert found.draws == DRAWS


def test_indices_of_a_sum_are_shares_of_the_variance():
    """x₁ + 2 x₂ + 3 x₃ of standard normals: 1/14, 4/14, 9/14, by the variance of a sum."""
    points = ranking_points(DRAWS, 3, seed=5)
    found = indices(Normal(0, 1).quantile(points) @ [1.0, 2.0, 3.0], 3, seed=5)
    expected = np.array([1, 4, 9]) / 14
    np.testing.assert_allclose(found.first, expected, atol=0.02)  # of some 0.03 of the interval
    np.testing.assert_allclose(found.total, expected, atol=0.02)


def test_indices_are_scipys():
    """The same estimators by another hand; scipy draws its own points, so it is given ours."""
    stats = pytest.importorskip("scipy.stats")
    answers = ishigami(ranking_points(512, 3, seed=0))
    draws = answers.reshape(-1, 5)
    found = indices(answers, 3, seed=0)
    theirs = stats.sobol_indices(
        func={"f_A": draws[None, :, 0], "f_B": draws[None, :, -1], "f_AB": draws.T[1:-1, None, :]},
        n=512,
    )
    # 1e-12: sums of 512 numbers in another order.
    np.testing.assert_allclose(found.first, theirs.first_order, rtol=0, atol=1e-12)
    np.testing.assert_allclose(found.total, theirs.total_order, rtol=0, atol=1e-12)


def test_intervals_hold_the_closed_form_as_often_as_they_say():
    """Of 60 independent rankings' 6 intervals each: quasi-random draws err less than random ones,
    so 95 % or more; fewer than nine tenths would be a formula's fault, not chance (2e-6)."""
    first, total, _ = ishigami_indices()
    held = []
    for seed in range(60):
        found = indices(ishigami(ranking_points(256, 3, seed)), 3, seed)
        held += list(np.abs(found.first - first) < found.first_95)
        held += list(np.abs(found.total - total) < found.total_95)
    assert np.mean(held) > 0.9


def test_same_seed_same_indices():
    answers = ishigami(ranking_points(256, 3, seed=0))
    one, again = (indices(answers, 3, seed=0) for _ in range(2))
    np.testing.assert_array_equal(one.first_95, again.first_95)
    assert not np.array_equal(ranking_points(64, 3, 0), ranking_points(64, 3, 1))


def test_draws_without_an_answer_are_left_out():
    answers = ishigami(ranking_points(DRAWS, 3, seed=0))
    whole = indices(answers, 3, seed=0)
    answers[[7, 8, 5000]] = np.nan  # of draws 1 and 1000
    assert np.flatnonzero(~whole_draws(answers, 3)).tolist() == [1, 1000]
    found = indices(answers, 3, seed=0)
    assert found.draws == DRAWS - 2
    np.testing.assert_allclose(found.total, whole.total, atol=0.01)  # two of 4096 draws


def test_nothing_to_rank():
    with pytest.raises(NoVarianceError):
        indices(np.ones(64 * 5), 3, seed=0)
    with pytest.raises(NoVarianceError):
        indices(np.full(64 * 5, np.nan), 3, seed=0)
