from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from warmbranch.base.errors import NotConvergedError
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.fit import ensemble as module
from warmbranch.fit.clock import WARMTH
from warmbranch.fit.ensemble import PriorDraws, posterior_ensemble
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.solve import fit
from warmbranch.fit.stand_in import StandIn
from warmbranch.fit.weighing import MultivariateNormal, effective, evened, moments

LEVELS = np.array([0.05, 0.5, 0.95])


def fitted(problem: InverseProblem):
    prior = PriorDraws(problem)
    return posterior_ensemble(problem, problem.mode(prior.starts(problem)), prior)


@pytest.fixture
def one_unknown(make_case):
    """The mouth correction alone, and one tone: a posterior that can be integrated."""
    case = make_case()
    fixed = Spreads(fixed=frozenset(UNKNOWNS) - {"mouth_factor"})
    heard = Heard.of_warm(np.array([89.6]), np.array([0.2]), np.array([1.031]))
    sure = frozenset({"ear", WARMTH})
    return InverseProblem(case, Readings.none(), heard, Calibration.prior(case, fixed), known=sure)


def test_agrees_with_integration(one_unknown):
    """One unknown, on a grid of two thousand: no draws at all."""
    grid = np.linspace(-5, 5, 2001)[:, None]
    expected = one_unknown.expected(grid)
    density = np.exp(one_unknown.log_posterior(grid, expected))
    density /= density.sum()
    order = np.argsort(expected.frequency)
    below = np.cumsum(density[order])
    wanted = np.interp(LEVELS, below, expected.frequency[order])
    ensemble = fitted(one_unknown)
    found = ensemble.quantiles(ensemble.frequency, LEVELS)
    spread = (wanted[2] - wanted[0]) / 3.29
    # Some hundred effective draws, spread evenly along the answer.
    np.testing.assert_allclose(found, wanted, rtol=0, atol=0.15 * spread)
    mean, variance = density @ grid[:, 0], density @ grid[:, 0] ** 2
    own_mean, own_covariance = ensemble.moments()
    assert own_mean[0] == pytest.approx(mean, abs=0.1 * np.sqrt(variance - mean**2))
    assert own_covariance[0, 0] == pytest.approx(variance - mean**2, rel=0.2)


def test_more_draws_where_few_count(synthetic, monkeypatch):
    drawn = synthetic.experiment(np.random.default_rng(53), 8, listens=True)
    problem = InverseProblem(drawn.case, drawn.readings, drawn.heard, Calibration.prior(drawn.case))
    plain = fitted(problem)
    assert plain.rounds < module.MOST_ROUNDS
    monkeypatch.setattr(module, "ENOUGH", 1e9)
    ensemble = fitted(problem)
    assert ensemble.rounds == module.MOST_ROUNDS
    assert ensemble.effective > 1.3 * plain.effective


def test_weights_are_evened_and_said_so_when_draws_are_few(synthetic, monkeypatch):
    drawn = synthetic.experiment(np.random.default_rng(53), 8, listens=True)
    problem = InverseProblem(drawn.case, drawn.readings, drawn.heard, Calibration.prior(drawn.case))
    plain = fitted(problem)
    # So many that it shows: of three such experiments two become 9 and 10 % wider, and one, which a
    # few heavy draws had made wide, stays as it was.
    monkeypatch.setattr(module, "FEWEST", 2.0 * plain.effective)
    widened = fitted(problem)
    assert widened.widened
    assert not plain.widened
    assert widened.effective >= 1.99 * plain.effective
    ends = LEVELS[[0, 2]]
    narrow, wide = (np.diff(one.quantiles(one.frequency, ends))[0] for one in (plain, widened))
    assert wide > 1.05 * narrow


def test_draws_without_a_solution_weigh_nothing(make_case, monkeypatch):
    """The solver gives up on one design; the rest are answered."""
    from warmbranch.belief import forecast

    case = make_case()
    heard = Heard.of_warm(np.array([90.0]), np.ones(1), np.array([1.031]))
    problem = InverseProblem(case, Readings.none(), heard, Calibration.prior(case))
    whole = forecast.solve_to
    refused = []

    def gives_up(fineness, case, **more):
        # The middle of the prior goes along with its draws.
        if len(case) == module.PRIOR_DRAWS + 1 and not refused:
            refused.append(7)
            raise NotConvergedError("no", designs=(7,), residual=1.0, iterations=80)
        return whole(fineness, case, **more)

    monkeypatch.setattr(forecast, "solve_to", gives_up)
    ensemble = fitted(problem)
    assert refused
    assert ensemble.unsolved == 1
    assert ensemble.without_resonance == 0
    assert np.all(np.isfinite(ensemble.frequency))


def test_when_nothing_is_solved_it_is_an_error(make_case, monkeypatch):
    from warmbranch.belief import forecast

    def gives_up(fineness, case, **more):
        raise NotConvergedError("no", designs=tuple(range(len(case))), residual=1.0, iterations=80)

    case = make_case()
    problem = InverseProblem(case, Readings.none(), Heard.none(), Calibration.prior(case))
    monkeypatch.setattr(forecast, "solve_to", gives_up)
    with pytest.raises(NotConvergedError):
        PriorDraws(problem)


def test_effective_draws_of_kish():
    assert effective(np.full(50, 0.02)) == pytest.approx(50)
    assert effective(np.array([1.0, 0.0])) == 1


def test_weighted_moments():
    white = np.array([[0.0], [2.0]])
    mean, covariance = moments(white, np.array([0.75, 0.25]))
    assert mean[0] == 0.5
    assert covariance[0, 0] == pytest.approx(0.75 * 0.25 + 0.25 * 2.25)


def test_equally_likely_choice_repeats_heavy_draws(one_unknown):
    ensemble = fitted(one_unknown)
    heavy = replace(
        ensemble, weights=np.where(np.arange(len(ensemble.weights)) == 3, 0.9, 0.1 / 400)
    )
    chosen = heavy.chosen(100)
    assert np.mean(chosen == 3) > 0.8


def test_far_from_the_draws_the_stand_in_foresees_nothing_probable(make_case):
    """Its parabolas go to tones there that no number holds."""
    case = make_case()
    heard = Heard.of_warm(np.array([90.0]), np.ones(1), np.array([1.031]))
    problem = InverseProblem(case, Readings.none(), heard, Calibration.prior(case))
    prior = PriorDraws(problem)
    size = len(problem)
    stand_in = StandIn(problem, prior.white, [prior.expected], np.zeros(size), np.eye(size))
    far = 1e4 * np.concatenate([np.eye(size), -np.eye(size)])
    with np.errstate(over="raise", invalid="raise", divide="raise"):
        foreseen = stand_in.foreseen(far)
    assert np.all(foreseen.log_posterior < -1e6)


def test_copies_of_a_draw_tell_no_more_than_one(one_unknown):
    """A stand-in that holds one draw likely beyond all others chooses it again and again. Solved
    once and counted, it weighs as its copies together, and tells as one."""
    white, times = np.array([[0.3], [-0.2], [1.1]]), np.array([3, 1, 1])
    source = MultivariateNormal(np.zeros(1), np.eye(1))
    counted, copied = module._Pool(one_unknown), module._Pool(one_unknown)
    counted.add(white, one_unknown.expected(white), source, times)
    every = np.repeat(white, times, axis=0)
    copied.add(every, one_unknown.expected(every), source)
    together = np.add.reduceat(copied.weights(), [0, 3, 4])
    np.testing.assert_allclose(counted.weights(), together, rtol=1e-12)
    even = evened(counted.log_weights(), 2.5)
    assert effective(even) >= 2.5
    np.testing.assert_array_equal(np.argsort(even), np.argsort(together))
    np.testing.assert_allclose(even.sum(), 1.0, rtol=1e-15)


def test_chosen_draws_are_different(synthetic, monkeypatch):
    chosen = []
    plain = module.Chooser.draws
    monkeypatch.setattr(
        module.Chooser, "draws", lambda self, size: chosen.append(plain(self, size)) or chosen[-1]
    )
    drawn = synthetic.experiment(np.random.default_rng(53), 8, listens=True)
    fitted(InverseProblem(drawn.case, drawn.readings, drawn.heard, Calibration.prior(drawn.case)))
    assert chosen
    for white, times in chosen:
        assert len(np.unique(white, axis=0)) == len(white) == len(times)
        assert times.sum() == module.POSTERIOR_DRAWS


def test_many_sharp_readings_leave_an_interval(synthetic, make_case):
    """Fifty readings: the stand-in chose one draw 144 times, and the interval had no width."""
    drawn = synthetic.experiment(np.random.default_rng(14), 50, listens=False, case=make_case())
    found = fit(drawn.case, drawn.readings, drawn.heard)
    assert found.after[-1] - found.after[0] > 1.0
    assert len(np.unique(found.ensemble.white, axis=0)) > 100
