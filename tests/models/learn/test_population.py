"""What is common and what differs, in a world of normal distributions where all is known."""

import numpy as np
import pytest

from warmbranch.learn import population
from warmbranch.learn.population import CHANCES, SHARES, Jobs, Population, Seen


def seen(rng, truths, *, error=0.3, more=0.0):
    """Each job reads each unknown once, with an error."""
    size = truths.shape[1]
    return [
        Seen(np.eye(size) / error, z / error + rng.normal(size=size), np.full(size, more))
        for z in truths
    ]


@pytest.fixture
def one_share(monkeypatch):
    """Only one share, so that all is in closed form."""

    def to(share):
        chances = np.where(np.arange(len(SHARES)) == np.argmin(np.abs(SHARES - share)), 1.0, 1e-300)
        monkeypatch.setattr(population, "CHANCES", chances)
        return float(SHARES[np.argmin(np.abs(SHARES - share))])

    return to


def test_normal_jobs_of_known_scatter_have_the_textbook_mean(one_share):
    """Precision-weighted mean of normal means with a normal prior: Gelman et al., Bayesian Data
    Analysis, section 5.4, from memory."""
    share, error = one_share(0.3), 0.4
    shown = np.array([0.9, 0.2, 0.6, -0.1])
    jobs = [Seen(np.eye(1) / error, np.array([y / error]), np.zeros(1)) for y in shown]
    found = Jobs(jobs, 1).population()
    precision = 1 / (1 - share) + len(shown) / (error**2 + share)
    mean, covariance = found.common_moments()
    assert mean[0] == pytest.approx(shown.sum() / (error**2 + share) / precision, rel=1e-10)
    assert covariance[0, 0] == pytest.approx(1 / precision, rel=1e-10)
    assert found.next_job()[1][0, 0] == pytest.approx(1 / precision + share, rel=1e-10)


def test_evidence_of_the_shares_is_that_of_the_joint_normal_distribution():
    """Weights of the shares against the density of all readings at once, which are jointly normal:
    no product, no summing out. Of jobs with one, two and three readings."""
    rng = np.random.default_rng(3)
    jobs = [
        Seen(rng.normal(size=(1, 1 + i)), rng.normal(size=1 + i), np.array([0.1 * i]))
        for i in range(3)
    ]
    found = Jobs(jobs, 1).population()
    stacked = np.concatenate([job.of for job in jobs], axis=1)[0]
    shown = np.concatenate([job.shown for job in jobs])
    own = np.repeat(np.arange(3), [1, 2, 3])
    log_density = []
    for share in SHARES:
        common = max(1 - share, population.LEAST_COMMON)
        scatter = (share + 0.1 * own[:, None]) * (own[:, None] == own)
        covariance = np.eye(6) + np.outer(stacked, stacked) * (common + scatter)
        _, size = np.linalg.slogdet(covariance)
        log_density.append(-(size + shown @ np.linalg.solve(covariance, shown)) / 2)
    expected = CHANCES * np.exp(log_density)
    expected /= expected.sum()
    weights = [found.weights[found.shares[:, 0] == share].sum() for share in SHARES]
    # As many draws of a share as its chance asks for, to a draw or two of a thousand.
    assert weights == pytest.approx(expected, abs=4e-3)


def test_without_jobs_all_is_as_before():
    mean, covariance = Jobs([], 2).population().next_job()
    assert mean == pytest.approx(0, abs=1e-12)
    # The chance of jobs that differ by more than today's prior, and no more than that.
    total = CHANCES @ (SHARES + np.maximum(1 - SHARES, population.LEAST_COMMON))
    assert np.diag(covariance) == pytest.approx(total, abs=0.01)
    assert total < 1.05


def test_one_job_hardly_narrows_what_is_believed_of_the_next():
    """Even one that is known exactly: half of its variance may be its own."""
    exact = [Seen(np.eye(1) * 100, np.zeros(1), np.zeros(1))]
    _, covariance = Jobs(exact, 1).population().next_job()
    assert 0.7 < np.sqrt(covariance[0, 0]) < 0.95


def test_the_order_of_jobs_does_not_matter():
    rng = np.random.default_rng(5)
    jobs = seen(rng, rng.normal(size=(7, 3)) * 0.4 + 1)
    one, other = Jobs(jobs, 3).population(), Jobs(jobs[::-1], 3).population()
    for a, b in zip(one.next_job(), other.next_job(), strict=True):
        assert a == pytest.approx(b, rel=1e-10, abs=1e-12)


def test_leaving_one_out_is_learning_from_the_others():
    """By other draws of the shares, which is all that may differ."""
    rng = np.random.default_rng(7)
    jobs = seen(rng, rng.normal(size=(6, 3)) * 0.5 - 0.5)
    left = Jobs(jobs, 3).next_job_without()[2]
    alone = Jobs([*jobs[:2], *jobs[3:]], 3).population().next_job()
    assert left[0] == pytest.approx(alone[0], abs=0.02)
    assert np.diag(left[1]) == pytest.approx(np.diag(alone[1]), rel=0.05)


def test_leaving_one_out_is_exactly_that_where_the_share_is_known(one_share):
    """Jobs of other numbers of readings, one of them without any."""
    one_share(0.3)
    rng = np.random.default_rng(8)
    jobs = [
        Seen(rng.normal(size=(3, size)), rng.normal(size=size), np.full(3, 0.1 * size))
        for size in (2, 0, 1, 4)
    ]
    for place, left in enumerate(Jobs(jobs, 3).next_job_without()):
        alone = Jobs([*jobs[:place], *jobs[place + 1 :]], 3).population().next_job()
        for a, b in zip(left, alone, strict=True):
            assert a == pytest.approx(b, rel=1e-10, abs=1e-12)


def test_jobs_that_agree_narrow_and_jobs_of_two_kinds_do_not():
    rng = np.random.default_rng(11)
    same = np.full((12, 1), 0.8)
    kinds = np.where(np.arange(12) % 2, 1.6, -1.6)[:, None]
    levels = np.array([0.05, 0.5, 0.95])
    narrow, wide = (Jobs(seen(rng, z), 1).population() for z in (same, kinds))
    assert narrow.scatter(levels)[1, 0] < 0.35
    assert np.sqrt(narrow.next_job()[1][0, 0]) < 0.4
    assert wide.scatter(levels)[0, 0] > 0.8
    # No narrower than the jobs are apart.
    assert np.sqrt(wide.next_job()[1][0, 0]) > 0.9


def test_jobs_that_differ_by_more_than_anyone_admits_widen_the_prior():
    rng = np.random.default_rng(13)
    apart = np.where(np.arange(20) % 2, 2.5, -2.5)[:, None]
    found = Jobs(seen(rng, apart), 1).population()
    assert np.sqrt(found.next_job()[1][0, 0]) > 1.3


def test_what_no_job_sees_stays_as_it_was():
    rng = np.random.default_rng(17)
    jobs = [Seen(np.array([[3.0], [0.0]]), 3 * rng.normal(size=1), np.zeros(2)) for _ in range(9)]
    mean, covariance = Jobs(jobs, 2).population().next_job()
    assert mean[1] == pytest.approx(0, abs=1e-12)
    assert covariance[1, 1] == pytest.approx(Jobs([], 2).population().next_job()[1][1, 1], abs=0.03)


def rank_of(found: Population, truth: float, rng) -> float:
    """Where a truth stands among draws of what is common."""
    drawn = rng.choice(len(found.weights), size=400, p=found.weights)
    spread = np.sqrt(found.common_covariance[drawn, 0, 0])
    return float(np.mean(found.common[drawn, 0] + spread * rng.normal(size=400) < truth))


def rank_of_share(found: Population, share: float, rng) -> float:
    """The same of how much jobs differ; among draws that have it exactly, anywhere."""
    own, weights = found.shares[:, 0], found.weights
    same = np.isclose(own, share)
    return float(weights[(own < share) & ~same].sum() + rng.uniform() * weights[same].sum())


@pytest.mark.parametrize("count", [1, 3, 10])
def test_truths_of_the_assumed_world_rank_evenly(count):
    """Simulation-based calibration (Talts et al. 2018, arXiv 1804.06788) of what is common and of
    how much jobs differ, and the next job's 90 % interval, over 150 shops."""
    from scipy.stats import kstest

    rng = np.random.default_rng(100 + count)
    ranks, shares, inside = [], [], []
    for _ in range(150):
        share = rng.choice(SHARES, p=CHANCES)
        common = rng.normal() * np.sqrt(max(1 - share, population.LEAST_COMMON))
        truths = common + np.sqrt(share) * rng.normal(size=(count + 1, 1))
        found = Jobs(seen(rng, truths[:-1], error=0.5), 1).population()
        ranks.append(rank_of(found, common, rng))
        shares.append(rank_of_share(found, share, rng))
        mean, covariance = found.next_job()
        inside.append(abs(truths[-1, 0] - mean[0]) < 1.645 * np.sqrt(covariance[0, 0]))
    assert kstest(ranks, "uniform").pvalue > 0.01
    assert kstest(shares, "uniform").pvalue > 0.01
    # Three standard errors of 150 trials.
    assert 0.9 - 0.073 < np.mean(inside) < 0.9 + 0.073
