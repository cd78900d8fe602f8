from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from warmbranch.belief.calibration import Calibration
from warmbranch.fit.ensemble import PriorDraws, posterior_ensemble
from warmbranch.fit.next_reading import LISTENING_UNCERTAINTY, advise
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.shared import EAR, PATTERN, THERMOMETER

ENOUGH_CASES = 40


def problem_of(case, readings, heard, **more):
    return InverseProblem(case, readings, heard, Calibration.prior(case), **more)


def ensemble_of(case, readings, heard):
    problem = problem_of(case, readings, heard)
    prior = PriorDraws(problem)
    if problem.counted == 0:
        return prior.ensemble(problem)
    return posterior_ensemble(problem, problem.mode(prior.starts(problem)), prior)


def spread(ensemble) -> float:
    tone = np.log(ensemble.frequency)
    return float(np.sqrt(ensemble.weights @ (tone - ensemble.weights @ tone) ** 2))


def test_advice_is_regression_on_the_draws(make_case):
    """Against ordinary least squares with the noise drawn, for equally likely draws."""
    case = make_case()
    ensemble = ensemble_of(case, Readings.none(), Heard.none())
    advice = advise(problem_of(case, Readings.none(), Heard.none()), ensemble)
    place = advice.best
    skin = np.array(
        [
            CubicSpline(x, t)(advice.position[place])
            for x, t in zip(ensemble.position, ensemble.skin, strict=True)
        ]
    )
    many = 4000
    excess = skin.mean() - 298.15
    sigma = np.sqrt(4.0 + (THERMOMETER * (skin.mean() - 273.15)) ** 2 + (PATTERN * excess) ** 2)
    noise = np.random.default_rng(6).normal(size=(many, len(skin))) * sigma
    tone = np.tile(np.log(ensemble.frequency), many)
    shown = (skin + noise).ravel()
    assert skin.mean() < 273.15 + 100  # so that 2 K is the usual uncertainty
    squared = np.corrcoef(tone, shown)[0, 1] ** 2
    assert advice.by_reading[place] == pytest.approx(squared, abs=0.005)


def test_listening_removes_what_the_ear_can_tell(make_case):
    """By itself, and by an ear that is off by as much each time: all that independent ones tell."""
    problem = problem_of(make_case(), Readings.none(), Heard.none())
    ensemble = PriorDraws(problem).ensemble(problem)
    variance = spread(ensemble) ** 2
    wanted = variance / (variance + LISTENING_UNCERTAINTY**2 + EAR**2)
    # The ears are sixteen draws.
    assert advise(problem, ensemble).by_listening == pytest.approx(wanted, rel=0.01)


def test_twenty_hearings_by_one_ear_make_a_reading_the_better(synthetic):
    """The twenty-first tells next to nothing: what the ear is off by, it is off by again."""
    drawn = synthetic.experiment(np.random.default_rng(61), 3, listens=True)
    first = drawn.heard
    twenty = Heard.concatenate([first] * 20)
    after = [
        advise(problem_of(drawn.case, drawn.readings, heard), ensemble)
        for heard in (first, twenty)
        for ensemble in [ensemble_of(drawn.case, drawn.readings, heard)]
    ]
    assert after[1].by_listening < 0.15
    assert after[1].by_listening < after[0].by_listening


def test_nothing_unknown_needs_no_reading(make_case):
    problem = problem_of(make_case(), Readings.none(), Heard.none())
    ensemble = PriorDraws(problem).ensemble(problem)
    sure = type(ensemble)(**{**vars(ensemble), "frequency": np.full_like(ensemble.frequency, 90.0)})
    advice = advise(problem, sure)
    assert advice.by_listening == 0
    np.testing.assert_array_equal(advice.by_reading, 0)


@pytest.fixture(scope="module")
def rivals(synthetic):
    """Spreads of ln f after a first pair of readings and then: what is advised, the best place,
    the worst place."""
    rng = np.random.default_rng(12)
    spreads = []
    for _ in range(ENOUGH_CASES):
        drawn = synthetic.experiment(rng, 2, listens=False)
        now = ensemble_of(drawn.case, drawn.readings, drawn.heard)
        advice = advise(problem_of(drawn.case, drawn.readings, drawn.heard), now)
        own = synthetic.shift_of_own(Calibration.prior(drawn.case), drawn.coordinates)
        by_place = []
        for place in (advice.best, int(np.argmin(advice.by_reading))):
            there = advice.position[place : place + 1]
            empty = synthetic.to_be_read(drawn.case, there, ("contact",))
            added = synthetic.read(empty, drawn.truth, own, drawn.patch, rng)
            both = Readings.concatenate([drawn.readings, added])
            by_place.append(spread(ensemble_of(drawn.case, both, drawn.heard)))
        advised = by_place[0]
        if advice.listen:
            advised = spread(
                ensemble_of(drawn.case, drawn.readings, synthetic.hear(drawn.truth, rng))
            )
        spreads.append([advised, *by_place])
    return np.array(spreads)


@pytest.mark.slow
@pytest.mark.long
def test_the_advised_reading_beats_the_worst(rivals):
    advised, _, worst = rivals.T
    assert np.mean(advised < worst) >= 0.9


@pytest.mark.slow
@pytest.mark.long
def test_the_best_place_mostly_beats_the_worst_place(rivals):
    """Places differ little where two readings have told most: the gain is one on average."""
    _, best, worst = rivals.T
    assert np.mean(best < worst) > 0.7
    assert np.mean(np.log(worst / best)) > 0.05
