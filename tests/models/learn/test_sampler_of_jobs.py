"""Three shops of real jobs against a long run of a general sampler: emcee, by differences.

The sampler asks each job's own likelihood, by the model itself, and draws shares, what is common
and every job's unknowns at once: no summary of a job, no normal likelihood, no closed form.
"""

from __future__ import annotations

import numpy as np
import pytest

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.shop import USUAL
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.fit.posterior import InverseProblem
from warmbranch.learn import population, summary
from warmbranch.learn.population import LEAST_COMMON, Jobs
from warmbranch.learn.summary import NAMES, MeasuredBranch, summary_of

OPEN = ("stirring", "outer_film_factor")
"""Left unknown: with two, a sampler gets round in a minute."""

SPREADS = Spreads(fixed=frozenset(UNKNOWNS) - frozenset(OPEN))
JOBS, WALKERS, STEPS, BURN_IN = 4, 48, 1500, 500


def shop_of(synthetic, seed: int, share: float) -> list[MeasuredBranch]:
    """Jobs whose unknowns differ by a share; all else is as their owners tell."""
    rng = np.random.default_rng(seed)
    common = np.sqrt(1 - share) * rng.normal(size=len(OPEN))
    found = []
    for i in range(JOBS):
        case, given = synthetic.a_case(rng), {}
        for name in UNKNOWNS:
            prior = Calibration.prior(case)
            if name in prior.names:
                given[name] = float(prior.mean[prior.names.index(name)])
        for name, middle in zip(OPEN, common, strict=True):
            z = middle + np.sqrt(share) * rng.normal()
            given[name] = USUAL[name].centre + USUAL[name].spread * z
        made = synthetic.experiment(rng, 6, listens=True, case=case, given=given)
        read = synthetic.with_known_surfaces(made.readings)
        found.append(MeasuredBranch(f"job {i}", case, read, made.heard, SPREADS, warm=True))
    return found


def sampled(jobs: list[MeasuredBranch]) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation of the next job's unknowns."""
    import emcee

    problems = [
        InverseProblem(
            job.case,
            job.readings,
            job.heard,
            Calibration.prior(job.case, SPREADS),
            warm=True,
            known=SPREADS.fixed,
        )
        for job in jobs
    ]
    size = len(OPEN)
    assert all(one.names == OPEN for one in problems)

    def parts(state: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        share, rest = state[:, :size], state[:, size:].reshape(len(state), 1 + JOBS, size)
        share = np.clip(share, 1e-9, 1 - 1e-9)
        common = np.sqrt(np.maximum(1 - share, LEAST_COMMON)) * rest[:, 0]
        return share, common, common[:, None] + np.sqrt(share)[:, None] * rest[:, 1:]

    def log_probability(state: np.ndarray) -> np.ndarray:
        within = np.all((state[:, :size] > 0) & (state[:, :size] < 1), axis=1)
        value = -np.sum(state[:, size:] ** 2, axis=1) / 2
        _, _, own = parts(state)
        for place, problem in enumerate(problems):
            white = np.clip(own[:, place], -5, 5)
            value = value + problem.given(problem.expected(white)).log_evidence
        return np.where(within, value, -np.inf)

    dimensions = size * (2 + JOBS)
    moves = [(emcee.moves.DEMove(), 0.8), (emcee.moves.DESnookerMove(), 0.2)]
    sampler = emcee.EnsembleSampler(
        WALKERS, dimensions, log_probability, moves=moves, vectorize=True
    )
    rng = np.random.RandomState(8)
    sampler.random_state = rng.get_state()
    start = np.concatenate(
        [
            rng.uniform(0.2, 0.8, size=(WALKERS, size)),
            rng.normal(size=(WALKERS, dimensions - size)),
        ],
        axis=1,
    )
    sampler.run_mcmc(start, STEPS)
    share, common, _ = parts(sampler.get_chain(discard=BURN_IN, flat=True))
    return common.mean(axis=0), np.sqrt(common.var(axis=0) + share.mean(axis=0))


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize(("seed", "share"), [(1, 0.1), (2, 0.4), (3, 0.8)])
def test_the_next_job_is_that_of_a_general_sampler(synthetic, monkeypatch, seed, share):
    # The continuous prior that the grid stands for, without the chance beyond it.
    monkeypatch.setattr(population, "ALIKE", 1e-12)
    chances = np.where(population.SHARES < 1, 1 / population.STEPS, 1e-12)
    monkeypatch.setattr(population, "CHANCES", chances)
    jobs = shop_of(synthetic, seed, share)
    mean, spread = sampled(jobs)
    own = [NAMES.index(name) for name in OPEN]
    ratios = {}
    for form in (summary.FORM, 0.0):
        monkeypatch.setattr(summary, "FORM", form)
        kept = [summary_of(job).seen() for job in jobs]
        middle, covariance = Jobs(kept, len(NAMES)).population().next_job()
        # A fifth of what is unsure: likelihoods are not quite normal, and a chain is finite.
        assert middle[own] == pytest.approx(mean, abs=0.25 * spread.max()), form
        ratios[form] = np.sqrt(np.diag(covariance)[own]) / spread
    print(seed, share, mean, spread, ratios)
    # As wide as the sampler's without what is kept back for likelihoods that are not normal, and
    # with it no narrower.
    assert ratios[0.0] == pytest.approx(1, abs=0.1)
    assert np.all(ratios[0.25] > 0.97)
    assert np.all(ratios[0.25] < 1.25)
