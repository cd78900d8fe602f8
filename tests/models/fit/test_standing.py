"""Readings of another state than the tone, and whether they were taken in the wind or standing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from warmbranch.base.errors import InputError
from warmbranch.belief.calibration import Calibration
from warmbranch.fit.ensemble import PriorDraws, posterior_ensemble
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import Heard
from warmbranch.fit.solve import fit
from warmbranch.fit.standing import STILL, WINDY, Explored, calm, idling, mixed, weighed
from warmbranch.steady.solve import solve


def blown(case, speed):
    return case.changed(surroundings=case.surroundings.changed(air_speed=np.array([speed])))


@pytest.fixture(scope="module")
def windy(synthetic):
    """A branch in 10 m/s that was read standing still, and heard in the wind."""
    rng = np.random.default_rng(12)
    case = blown(synthetic.a_case(rng), 10.0)
    read = synthetic.experiment(np.random.default_rng(3), 8, listens=False, case=blown(case, STILL))
    heard = synthetic.hear(solve(case), rng)
    return case, read.readings, heard


def test_the_state_that_is_read_shows_and_the_one_that_sounds_is_heard(windy):
    case, readings, heard = windy
    prior = Calibration.prior(case)
    white = 0.5 * np.random.default_rng(1).normal(size=(5, len(prior.names) + 1))
    of_case, of_still, mixed = (
        InverseProblem(own, readings, heard, prior, warm=True, as_read=as_read)
        for own, as_read in ((case, None), (blown(case, STILL), None), (case, blown(case, STILL)))
    )
    white = white[:, : len(mixed)]
    wind, still, found = (each.expected(white) for each in (of_case, of_still, mixed))
    # The grid's own correction is taken in the middle of the prior, of each state for itself.
    np.testing.assert_allclose(found.displayed, still.displayed, rtol=1e-12)
    np.testing.assert_allclose(found.heard, wind.heard, rtol=1e-12)
    assert np.abs(still.displayed - wind.displayed).max() > 10
    np.testing.assert_allclose(found.one(2).skins[1], still.one(2).skins[1], rtol=1e-12)


def test_another_state_that_is_the_same_changes_nothing(windy):
    case, readings, heard = windy
    once, twice = (
        fit(case, readings, heard, warm=True, as_read=as_read)
        for as_read in (case, blown(case, 10.0))
    )
    np.testing.assert_array_equal(once.after, twice.after)
    assert once.standing is None


def test_who_says_that_he_stood_is_believed(windy):
    """The truth: the middle of the prior's tone, whose unknowns the readings were drawn from."""
    case, readings, heard = windy
    said = fit(case, readings, heard, warm=True, as_read=blown(case, STILL))
    unsaid = fit(case, readings, heard, warm=True)
    in_wind = fit(case, readings, heard, warm=True, as_read=case)
    # Hot skins, were they read in that wind, would be of a hotter branch.
    assert in_wind.after[2] > said.after[2]
    assert unsaid.standing is not None
    assert unsaid.standing.chance > 0.5
    assert said.after[0] <= unsaid.after[2] <= in_wind.after[-1]


def test_a_reading_with_a_time_tells_its_state_by_itself(windy, synthetic):
    case, readings, heard = windy
    timed = replace(readings, time=np.full(len(readings), 300.0))
    with pytest.raises(InputError, match="another state"):
        InverseProblem(case, timed, heard, Calibration.prior(case), synthetic.WARMING, as_read=case)


def test_only_who_was_in_the_wind_may_have_stood(make_case):
    assert calm(make_case(air_speed=WINDY - 0.1)) is None
    assert calm(make_case(air_speed=9.0, fixed_outer_film=20.0)) is None
    assert calm(make_case(air_speed=9.0)).surroundings.air_speed[0] == STILL
    rear = blown(make_case(), 0.0)
    behind = rear.surroundings.changed(rear_from=np.array([0.4]), rear_air_speed=np.array([8.0]))
    quiet = calm(rear.changed(surroundings=behind)).surroundings
    assert quiet.air_speed[0] == 0
    assert quiet.rear_air_speed[0] == STILL


def test_no_wind_and_no_readings_ask_nothing(synthetic, windy):
    case, readings, heard = windy
    assert fit(blown(case, 0.0), readings, heard, warm=True).standing is None
    assert fit(case, readings.take(slice(0)), heard, warm=True).standing is None


def test_the_evidence_is_the_integral(windy):
    """Against twenty thousand draws of the prior, of what three readings say."""
    case, readings, _ = windy
    few = readings.take(np.array([1, 4, 6]))
    few = replace(few, uncertainty=4 * few.uncertainty)  # that draws of the prior can meet them
    problem = InverseProblem(case, few, Heard.none(), Calibration.prior(case), warm=True)
    prior = PriorDraws(problem)
    found = posterior_ensemble(problem, problem.mode(prior.starts(problem)), prior)
    rng = np.random.default_rng(8)
    likelihood = []
    for _ in range(10):
        white = rng.normal(size=(2000, len(problem)))
        likelihood.append(np.exp(problem.given(problem.expected(white)).log_evidence))
    every = np.concatenate(likelihood)
    noise = every.std() / every.mean() / np.sqrt(len(every))
    assert noise < 0.1
    # Some hundred effective draws know a sum to a tenth.
    assert found.log_evidence == pytest.approx(np.log(every.mean()), abs=0.2 + 2 * noise)


def test_all_are_weighed_by_their_chances(windy):
    case, readings, heard = windy
    problem = InverseProblem(case, readings, heard, Calibration.prior(case), warm=True)
    own = PriorDraws(problem).ensemble(problem)
    other = replace(own, frequency=2 * own.frequency)
    found = mixed([own, other], np.array([0.25, 0.75]))
    assert np.sum(found.weights) == pytest.approx(1.0, abs=1e-12)
    raised = found.weights[len(own.weights) :]
    assert np.sum(raised) == pytest.approx(0.75, abs=1e-12)
    np.testing.assert_array_equal(found.frequency[len(own.weights) :], other.frequency)
    assert mixed([own], np.ones(1)) is own


def test_an_engine_at_idle_is_thought_of_where_the_skin_is_too_cold(synthetic):
    """Read at half of the gas's excess and a third of its flow, and heard at the told one."""
    rng = np.random.default_rng(5)
    case = blown(synthetic.a_case(rng), 0.0)
    pipe, air = case.main_pipe, case.surroundings.air_temperature
    gas = air + 0.5 * (pipe.gas_temperature - air)
    idle = case.changed(main_pipe=pipe.changed(gas_temperature=gas, mass_flow=0.3 * pipe.mass_flow))
    read = synthetic.experiment(np.random.default_rng(3), 8, listens=False, case=idle).readings
    heard = synthetic.hear(solve(case), rng)
    found = fit(case, read, heard, warm=True)
    believed = fit(case, read, heard, warm=True, as_read=case)
    assert found.standing is None
    assert found.idling > 0.5
    assert believed.idling == 0.0
    true = float(solve(case).resonance[0, 0])
    # Whose skin is cold is taken to be long for its tone: the saw would go too far.
    assert abs(found.after[2] - true) < abs(believed.after[2] - true)


@pytest.mark.parametrize("change", [{"mass_flow": 0.0}, {"gas_temperature": 290.0}])
def test_nothing_idles_where_no_hot_gas_flows(make_case, change):
    assert idling(make_case(air_temperature=293.15, **change)) is None


def test_a_state_without_a_solution_was_not_read(windy):
    case, readings, heard = windy
    problem = InverseProblem(case, readings, heard, Calibration.prior(case), warm=True)
    prior = PriorDraws(problem)
    told = Explored(problem, prior, problem.mode(prior.starts(problem)))
    best, drawn, state = weighed(told, case, lambda *_: None)
    assert best is told
    assert (state.standing.chance, state.idling) == (0.0, 0.0)
    np.testing.assert_array_equal(drawn.white, told.drawn_out().white)
