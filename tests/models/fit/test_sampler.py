"""The weighted draws against an independent sampler: emcee, differential-evolution moves.

Those alone: with a fifth of emcee 3.1.6's snooker moves, the variance of a standard normal
distribution in 14 dimensions comes out as 0.85.
"""

from __future__ import annotations

import numpy as np
import pytest

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import Spreads
from warmbranch.fit import ensemble
from warmbranch.fit.ensemble import PriorDraws, posterior_ensemble
from warmbranch.fit.posterior import InverseProblem

WALKERS, STEPS, BURN_IN = 60, 5000, 800
REPEATS = 8
"""Sets of draws, each of some hundred and twenty effective ones: one alone tells a median to a
seventh of the spread, which is no check of a tenth."""

FEWEST = 1500.0
"""Independent draws by which a chain's median is known to a thirtieth of the spread."""

KNOWN = Spreads(fixed=frozenset({"air_temperature", "gas_temperature"}))


def sampled(problem: InverseProblem, start: np.ndarray, seed: int) -> tuple[np.ndarray, float]:
    """ln f of draws of the same posterior, and how many independent ones they are worth."""

    def log_probability(proposed: np.ndarray) -> np.ndarray:
        # The sampler jumps as far as 20 standard deviations of the prior, where it asks for numbers
        # that overflow. Beyond 8 there is no probability worth asking for (1e-15).
        far = np.abs(proposed).max(axis=1) > 8
        white = np.where(far[:, None], 0.0, proposed)
        expected = problem.expected(white)
        value = problem.log_posterior(white, expected)
        # What has no solution lies beyond all that is probable.
        assert np.all(np.abs(white[np.isinf(value)]).max(axis=1, initial=0) > 4)
        return np.stack([np.where(far, -np.inf, value), np.log(expected.frequency)], axis=1)

    import emcee

    sampler = emcee.EnsembleSampler(
        WALKERS, len(problem), log_probability, vectorize=True, moves=emcee.moves.DEMove()
    )
    rng = np.random.RandomState(seed)
    sampler.random_state = rng.get_state()
    walkers = start + 0.3 * rng.normal(size=(WALKERS, len(problem)))
    sampler.run_mcmc(walkers, STEPS)
    tones = sampler.get_blobs(discard=BURN_IN)
    apart = float(emcee.autocorr.integrated_time(tones[..., None], tol=0)[0])
    return tones.ravel(), tones.size / apart


def test_the_other_sampler_is_right_where_the_answer_is_known():
    """A standard normal distribution in as many dimensions as a fit has unknowns."""
    import emcee

    size, rng = 14, np.random.RandomState(1)
    sampler = emcee.EnsembleSampler(
        WALKERS,
        size,
        lambda x: -np.sum(x**2, axis=1) / 2,
        vectorize=True,
        moves=emcee.moves.DEMove(),
    )
    sampler.random_state = rng.get_state()
    sampler.run_mcmc(rng.normal(size=(WALKERS, size)), 1500)
    variance = np.var(sampler.get_chain(discard=BURN_IN, flat=True), axis=0)
    # Some two thousand effective draws a coordinate, so 3 % each and 1 % of the mean of fourteen.
    assert np.mean(variance) == pytest.approx(1.0, abs=0.03)


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize(
    ("seed", "readings", "listens"), [(0, 3, True), (1, 5, False), (2, 8, True)]
)
def test_median_and_width_agree(synthetic, monkeypatch, seed, readings, listens):
    drawn = synthetic.experiment(np.random.default_rng(100 + seed), readings, listens=listens)
    prior = Calibration.prior(drawn.case, KNOWN)
    problem = InverseProblem(drawn.case, drawn.readings, drawn.heard, prior)
    mode = problem.mode(PriorDraws(problem).starts(problem))
    levels = np.array([0.05, 0.5, 0.95])
    draws = [ensemble.SEED + 100 * again for again in range(REPEATS)]
    found = []
    for seed_of_draws in draws:
        monkeypatch.setattr(ensemble, "SEED", seed_of_draws)
        one = posterior_ensemble(problem, mode, PriorDraws(problem))
        found.append(one.quantiles(np.log(one.frequency), levels))
    mine = np.mean(found, axis=0)
    chain, worth = sampled(problem, mode.summit.white[: len(problem)], seed)
    assert worth > FEWEST
    theirs = np.quantile(chain, levels)
    spread = float(np.std(chain))
    # They scatter by a seventh of the spread, which eight sets tell to a quarter; as many equally
    # likely draws as are effective would by a tenth.
    assert np.std([one[1] for one in found], ddof=1) < 0.2 * spread
    # All together, in which that noise is averaged out, within a tenth.
    assert mine[1] == pytest.approx(theirs[1], abs=0.1 * spread)
    # A width by eight sets of draws is known to 2 %, one by the chain to 3 %, and weights of so few
    # draws widen it by 3 %: runs of thousands of draws say so.
    assert mine[2] - mine[0] == pytest.approx(theirs[2] - theirs[0], rel=0.12)
