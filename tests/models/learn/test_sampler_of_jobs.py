"""Three shops of real jobs against a long run of a general sampler: emcee, by differences.

The sampler asks each job's own likelihood, by the model itself, and draws shares, what is common
and every job's unknowns at once: no summary of a job, no normal likelihood, no closed form. With
two unknowns a likelihood is a surface, worked out on a grid and asked by splines, so that a chain
can be long. Moves by differences alone: ``tests/models/fit/test_sampler.py`` says why. What its
draws are worth goes by their autocorrelation.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RectBivariateSpline

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.shop import USUAL
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.fit.posterior import InverseProblem
from warmbranch.learn import population
from warmbranch.learn.population import LEAST_COMMON, Jobs
from warmbranch.learn.summary import NAMES, MeasuredBranch, summary_of

OPEN = ("stirring", "outer_film_factor")
"""Left unknown: two, so that a likelihood can be tabulated."""

SPREADS = Spreads(fixed=frozenset(UNKNOWNS) - frozenset(OPEN))
JOBS, WALKERS, STEPS, BURN_IN, EVERY = 4, 96, 10_000, 1_000, 10

NODES = np.linspace(-5, 5, 81)
"""Prior spreads: a sharp job's narrowest spread is some two steps."""

FEWEST = 5_000.0
"""Independent draws by which a mean is known to a seventieth of the spread, a spread to 1 %."""


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
        told = {"warm": True, "as_read": case}  # in the very wind that it drones in
        found.append(MeasuredBranch(f"job {i}", case, read, made.heard, SPREADS, **told))
    return found


def log_likelihood(job: MeasuredBranch) -> RectBivariateSpline:
    """Of a job's two unknowns in white coordinates, by the model itself."""
    prior = Calibration.prior(job.case, SPREADS)
    problem = InverseProblem(
        job.case, job.readings, job.heard, prior, warm=True, known=SPREADS.fixed
    )
    assert problem.names == OPEN

    def exactly(white: np.ndarray) -> np.ndarray:
        return problem.given(problem.expected(white)).log_evidence

    every = np.stack(np.meshgrid(NODES, NODES, indexing="ij"), axis=-1)
    surface = RectBivariateSpline(NODES, NODES, np.array([exactly(row) for row in every]))
    between = np.random.default_rng(9).normal(size=(64, len(OPEN)))
    # A hundredth of a probability.
    assert surface.ev(*between.T) == pytest.approx(exactly(between), abs=0.01)
    return surface


def sampled(jobs: list[MeasuredBranch]) -> tuple[np.ndarray, np.ndarray, float]:
    """Mean and standard deviation of the next job's unknowns, and how many draws that is worth."""
    import emcee

    surfaces = [log_likelihood(job) for job in jobs]
    size = len(OPEN)

    def parts(state: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        share, rest = state[:, :size], state[:, size:].reshape(len(state), 1 + JOBS, size)
        share = np.clip(share, 1e-9, 1 - 1e-9)
        common = np.sqrt(np.maximum(1 - share, LEAST_COMMON)) * rest[:, 0]
        return share, common, common[:, None] + np.sqrt(share)[:, None] * rest[:, 1:]

    def log_probability(state: np.ndarray) -> np.ndarray:
        within = np.all((state[:, :size] > 0) & (state[:, :size] < 1), axis=1)
        value = -np.sum(state[:, size:] ** 2, axis=1) / 2
        _, _, own = parts(state)
        for place, surface in enumerate(surfaces):
            value = value + surface.ev(*np.clip(own[:, place], NODES[0], NODES[-1]).T)
        return np.where(within, value, -np.inf)

    dimensions = size * (2 + JOBS)
    sampler = emcee.EnsembleSampler(
        WALKERS, dimensions, log_probability, moves=emcee.moves.DEMove(), vectorize=True
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
    sampler.run_mcmc(start, STEPS // EVERY, thin_by=EVERY)
    left_out = BURN_IN // EVERY
    share, common, _ = parts(sampler.get_chain(discard=left_out, flat=True))
    # Of the slowest coordinate, in kept draws of one walker.
    slowest = float(np.max(sampler.get_autocorr_time(discard=left_out, tol=0)))
    worth = WALKERS * (STEPS - BURN_IN) / EVERY / slowest
    return common.mean(axis=0), np.sqrt(common.var(axis=0) + share.mean(axis=0)), worth


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize(("seed", "share"), [(1, 0.1), (2, 0.4), (3, 0.8)])
def test_the_next_job_is_that_of_a_general_sampler(synthetic, monkeypatch, seed, share):
    # The continuous prior that the grid stands for, without the chance beyond it.
    monkeypatch.setattr(population, "ALIKE", 1e-12)
    chances = np.where(population.SHARES < 1, 1 / population.STEPS, 1e-12)
    monkeypatch.setattr(population, "CHANCES", chances)
    jobs = shop_of(synthetic, seed, share)
    mean, spread, worth = sampled(jobs)
    assert worth > FEWEST
    own = [NAMES.index(name) for name in OPEN]
    kept = [summary_of(job).seen() for job in jobs]
    middle, covariance = Jobs(kept, len(NAMES)).population().next_job()
    found = np.sqrt(np.diag(covariance)[own])
    # Likelihoods are not quite normal, and a direction that a job hardly sees is left out. So far
    # off in both, a 90 % interval holds 0.88.
    assert middle[own] == pytest.approx(mean, abs=0.15 * spread.max())
    assert found == pytest.approx(spread, rel=0.05)
