"""The population against a long run of a general sampler: emcee, differential-evolution moves.

By the joint normal distribution of all readings, in which only the shares are sampled: no product
of jobs, no sum over a grid, no closed form of what is common.
"""

from __future__ import annotations

import numpy as np
import pytest

from warmbranch.learn import population
from warmbranch.learn.population import Jobs, Seen

WALKERS, STEPS, BURN_IN = 24, 1200, 200
UNKNOWNS = 2


def invented(kind: str) -> list[Seen]:
    rng = np.random.default_rng(len(kind))
    jobs = []
    for i in range(8):
        z = {"alike": 0.8, "apart": 1.2 * (-1) ** i, "mixed": rng.normal()}[kind]
        of = rng.normal(size=(UNKNOWNS, 2)) * 2
        jobs.append(Seen(of, of.T @ np.array([z, -z / 2]) + rng.normal(size=2), np.zeros(UNKNOWNS)))
    return jobs


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["alike", "apart", "mixed"])
def test_the_next_job_is_that_of_a_general_sampler(kind, monkeypatch):
    import emcee

    # The continuous prior that the grid stands for, without the chance beyond it.
    monkeypatch.setattr(population, "ALIKE", 1e-12)
    grid = np.where(population.SHARES < 1, 1 / population.STEPS, 1e-12)
    monkeypatch.setattr(population, "CHANCES", grid)
    jobs = invented(kind)
    of = np.concatenate([job.of for job in jobs], axis=1)
    shown = np.concatenate([job.shown for job in jobs])
    same = np.kron(np.eye(len(jobs)), np.ones((2, 2)))
    size = len(shown)

    def moments(share: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        common = np.diag(np.maximum(1 - share, population.LEAST_COMMON))
        whole = np.eye(size) + of.T @ common @ of + same * (of.T @ np.diag(share) @ of)
        gain = np.linalg.solve(whole, of.T @ common).T
        return whole, gain @ shown, common - gain @ of.T @ common, np.diag(share)

    def log_probability(share: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        if np.any(share <= 0) or np.any(share >= 1):
            return -np.inf, np.zeros(UNKNOWNS), np.zeros((UNKNOWNS, UNKNOWNS))
        whole, mean, covariance, own = moments(share)
        _, log_size = np.linalg.slogdet(whole)
        return -(log_size + shown @ np.linalg.solve(whole, shown)) / 2, mean, covariance + own

    rng = np.random.RandomState(4)
    kinds = [("mean", float, UNKNOWNS), ("covariance", float, (UNKNOWNS, UNKNOWNS))]
    sampler = emcee.EnsembleSampler(
        WALKERS, UNKNOWNS, log_probability, moves=emcee.moves.DEMove(), blobs_dtype=kinds
    )
    sampler.random_state = rng.get_state()
    sampler.run_mcmc(rng.uniform(0.1, 0.9, size=(WALKERS, UNKNOWNS)), STEPS)
    drawn = sampler.get_blobs(discard=BURN_IN, flat=True)
    mean = drawn["mean"].mean(axis=0)
    covariance = drawn["covariance"].mean(axis=0) + np.cov(drawn["mean"].T)
    found, around = Jobs(jobs, UNKNOWNS).population().next_job()
    # A grid of sixteenths, a thousand draws and the sampler's own thousands.
    spread = np.sqrt(np.diag(covariance))
    assert found == pytest.approx(mean, abs=0.04 * spread.min())
    assert np.sqrt(np.diag(around)) == pytest.approx(spread, rel=0.03)
