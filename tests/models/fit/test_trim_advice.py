from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.fit.ensemble import PriorDraws
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.shared import EAR
from warmbranch.fit.trim_advice import RISK, NormalMixture, trim
from warmbranch.length.length_for_tone import with_length
from warmbranch.steady.solve import solve


@pytest.fixture
def built(make_case):
    case = make_case()
    problem = InverseProblem(case, Readings.none(), Heard.none(), Calibration.prior(case))
    return case, problem, PriorDraws(problem).ensemble(problem)


def test_final_cut_gives_the_tone_in_the_middle(built):
    case, problem, ensemble = built
    found = trim(problem, ensemble, 110.0)
    cut = with_length(case, np.array([1.031 - found.final_cut]))
    # The median of lengths against the length of the median unknowns: a small difference.
    assert solve(cut).resonance[0, 0] == pytest.approx(110.0, rel=0.01)


def test_cut_now_is_short_of_the_final_cut_and_keeps_its_promise(built):
    case, problem, ensemble = built
    found = trim(problem, ensemble, 110.0)
    assert 0 < found.cut_now < found.final_cut
    assert found.chance_too_short <= RISK
    low, high = found.final_cut_90
    assert low < found.final_cut < high
    # Independently: of fresh draws cut so, at most some 1.5 % are heard too high.
    drawn = problem.prior.draws(400, seed=77)
    from warmbranch.belief.unknowns import with_unknowns

    cases = with_unknowns(case, problem.prior.names, drawn)
    cut = with_length(cases, np.full(400, 1.031 - found.cut_now))
    ear = np.exp(EAR * np.random.default_rng(78).normal(size=400))
    too_short = np.mean(solve(cut).resonance[:, 0] * ear > 110.0)
    # Two standard errors of both samples, 200 and 400 draws.
    assert too_short == pytest.approx(RISK, abs=0.021)
    assert found.cut_now * 1e3 == pytest.approx(round(found.cut_now * 1e3), abs=1e-9)
    assert found.already == 0
    assert not found.heard


def test_a_branch_that_is_too_short_is_not_cut(built):
    _, problem, ensemble = built
    found = trim(problem, ensemble, 80.0)
    assert found.cut_now == 0
    assert found.final_cut < -0.05
    assert found.chance_too_short > 0.99


def test_a_tone_that_no_length_gives(built):
    _, problem, ensemble = built
    found = trim(problem, ensemble, 700.0)
    assert found.unreachable > 0.95


def test_nothing_unknown_leaves_no_doubt(make_case):
    case = make_case()
    nothing = Calibration.prior(case, Spreads(fixed=frozenset(UNKNOWNS)))
    problem = InverseProblem(case, Readings.none(), Heard.none(), nothing, known=frozenset({"ear"}))
    found = trim(problem, PriorDraws(problem).ensemble(problem), 110.0)
    assert found.final_cut_90[0] == pytest.approx(found.final_cut_90[1], abs=1e-9)
    again = solve(with_length(case, np.array([1.031 - found.final_cut])))
    # The coarse grid of the advice: 1e-4.
    assert again.resonance[0, 0] == pytest.approx(110.0, rel=3e-4)
    assert replace(found, cut_now=0.0).frequency == 110.0


def test_a_mixture_against_many_draws_of_it():
    middle, spread = np.array([0.0, 3.0]), np.array([1.0, 0.5])
    mixture = NormalMixture(middle, spread, np.array([0.7, 0.3]))
    rng, size = np.random.default_rng(4), 400_000
    which = rng.random(size) < 0.3
    drawn = np.where(which, 3.0 + 0.5 * rng.normal(size=size), rng.normal(size=size))
    for level in (0.015, 0.5, 0.95):
        assert np.mean(drawn < mixture.quantile(level)) == pytest.approx(level, abs=0.002)
        assert mixture.share_below(mixture.quantile(level)) == pytest.approx(level, abs=1e-9)


def test_the_advice_says_what_the_job_will_take(built):
    _, problem, ensemble = built
    found = trim(problem, ensemble, 110.0)
    assert found.ahead is not None
    assert 2 < found.ahead.cuts < 5
    assert 0 < found.ahead.left_over < found.final_cut - found.cut_now
    assert trim(problem, ensemble, 80.0).ahead is None
