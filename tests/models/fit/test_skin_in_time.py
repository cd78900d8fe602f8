"""Readings taken while the branch warms up, fitted through the warm-up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.fit.clock import START
from warmbranch.fit.posterior import STEP_IN_TIME, InverseProblem
from warmbranch.fit.readings import Heard
from warmbranch.fit.skin_in_time import SkinInTime, Warming
from warmbranch.fit.solve import fit
from warmbranch.warming.drive import Curve, Drive
from warmbranch.warming.solve import skin_at


@pytest.fixture
def drawn(synthetic):
    return synthetic.experiment_in_time(np.random.default_rng(71))


@pytest.fixture
def problem(drawn, synthetic):
    prior = Calibration.prior(drawn.case)
    return InverseProblem(drawn.case, drawn.readings, drawn.heard, prior, synthetic.WARMING)


@pytest.mark.slow
@pytest.mark.long
def test_three_readings_recover_the_truth_as_often_as_the_interval_says(synthetic, coverage_fit):
    """Readings 2, 5 and 9 minutes after the start, time constants uncertain too.

    Of 40 honest 90 % intervals 36 hold the truth, with a standard deviation of
    sqrt(40 · 0.9 · 0.1) = 1.9: fewer than 31 do once in a hundred times (binomial). The hundreds
    of ``coverage_fit.py --in-time`` tell it closer.
    """
    done = coverage_fit.run_in_time(40, seed=11)
    held = sum(found.after[0] <= true <= found.after[4] for _, _, true, found in done)
    assert held >= 31
    # And they are narrower than before, not only honest.
    assert (
        np.mean([found.learned_share for *_, found in done]) > 0.15
    )  # skin by the mouth tells less of the tail


def test_what_would_be_seen_is_the_skin_of_the_warm_up(problem, drawn):
    """At the middle of the prior, on the default grid, to the tolerance of a step."""
    seen = problem.expected(np.zeros((1, len(problem)))).displayed[0]
    drive = Drive.cold_start(540.0)
    skin = skin_at(drawn.case, drive, drawn.readings.position, drawn.readings.time)
    radiant = drawn.case.surroundings.radiant_temperature
    shown = drawn.readings.expected(skin, np.zeros_like(skin), radiant)[0]
    # Two runs at 0.1 K a step and the middle of priors that a case's air may cut short.
    assert_allclose(seen, shown, atol=0.3)


def test_sensitivities_agree_with_wide_differences(problem):
    """Against differences over twice the step, which truncation tells apart by some percent."""
    white = np.zeros(len(problem))
    joint = np.zeros(len(problem) + len(problem.shared))
    slopes = problem.sensitivities(joint, problem.expected(white[None]))[:3, : len(problem)]
    aside = STEP_IN_TIME * np.eye(len(problem))
    up, down = (problem.expected(white + sign * aside) for sign in (1, -1))
    wide = (problem.misfit(up.displayed, up.heard) - problem.misfit(down.displayed, down.heard)).T
    wide = wide[:3] / (2 * STEP_IN_TIME)
    assert_allclose(slopes, wide, atol=0.05 * np.abs(wide).max())
    assert np.abs(slopes).max() > 0.5


def test_the_start_is_one_more_unknown_unless_it_is_known(drawn, synthetic):
    prior = Calibration.prior(drawn.case)

    def names(warming):
        return InverseProblem(drawn.case, drawn.readings, drawn.heard, prior, warming).names

    assert names(synthetic.WARMING)[-1] == START
    assert START not in names(replace(synthetic.WARMING, start_spread=0.0))
    curve = Curve("gas_temperature", "K", np.array([0.0, 300.0]), np.array([300.0, 500.0]))
    assert START not in names(Warming(Drive(600.0, gas_temperature=curve)))


def test_the_start_is_told_among_the_parameters(drawn, synthetic):
    found = fit(drawn.case, drawn.readings, drawn.heard, warming=synthetic.WARMING)
    told = found.parameters[-1]
    assert told.name == START
    low, high = told.prior_90
    # Within a factor of two in 95 %: exp(±1.645 · 0.35) in 90 %; 96 draws tell quantiles so far.
    assert_allclose([low, high], np.exp(np.array([-1, 1]) * 1.645 * 0.35), rtol=0.15)
    assert low < told.estimate < high
    assert START not in found.calibration.names


def test_settled_and_timed_readings_go_together(synthetic, drawn):
    """A settled reading beside three in time is compared with the settled branch: fitted, it is met
    as one contact reading is, within two of its deviations. (How much it teaches is another matter:
    what surprises can leave more doubt than there was, in two experiments of eight.)"""
    settled = synthetic.read(
        synthetic.to_be_read(drawn.case, np.array([0.3]), ("contact",)),
        drawn.truth, 0.0, 0.0, np.random.default_rng(3),
    )  # fmt: skip
    both = type(settled).concatenate([drawn.readings, settled])
    found = fit(drawn.case, both, Heard.none(), warming=synthetic.WARMING)
    assert len(found.expected) == 4
    off = found.expected[3] - settled.displayed[0]
    assert abs(off) < 2 * settled.uncertainty[0]


def test_a_long_time_after_the_start_is_settled(make_case, synthetic):
    """A reading after four hours is worth what a settled one is."""
    case = make_case(gas_temperature=583.15)
    spreads = Spreads(fixed=frozenset(UNKNOWNS) - {"stirring", "outer_film_factor"})
    readings = synthetic.to_be_read(case, np.array([0.2, 0.6]), ("contact", "contact"))
    readings = replace(readings, displayed=np.array([370.0, 330.0]), uncertainty=np.full(2, 3.0))
    warming = Warming(Drive.cold_start(60.0), start_spread=0.0)
    settled, late = (
        fit(
            case,
            replace(readings, time=time),
            Heard.none(),
            spreads=spreads,
            warming=warming,
            warm=True,
        )
        for time in (np.full(2, np.nan), np.full(2, 4 * 3600.0))
    )
    assert_allclose(late.after, settled.after, rtol=1e-3)
    assert_allclose(late.expected, settled.expected, atol=0.3)  # three tolerances of a step


def test_a_curve_follows_each_sets_own_air_and_gas(make_case):
    """Drawn for the case; a set with hotter gas gets a hotter curve."""
    case = make_case(gas_temperature=500.0)
    curve = Curve("gas_temperature", "K", np.array([0.0, 10.0]), np.array([298.15, 500.0]))
    skins = SkinInTime(
        case, ["gas_temperature"], Warming(Drive(600.0, gas_temperature=curve)),
        np.array([0.1]), np.array([300.0]), 33,
    )  # fmt: skip
    skin = skins.at(np.array([[0.0], [0.3]]), np.zeros(2))[:, 0]
    # The excess over the air is about in proportion to the gas's, whose logarithm rises by 0.3.
    assert 1.2 < (skin[1] - 298.15) / (skin[0] - 298.15) < 1.45


def test_sets_without_a_solution_are_marked(make_case, monkeypatch):
    skins = SkinInTime(
        make_case(), ["outer_film_factor"], Warming(Drive.cold_start(60.0)),
        np.array([0.1]), np.array([300.0]), 33,
    )  # fmt: skip
    good = skins.at(np.log([[0.8], [1.0], [1.2]]), np.zeros(3))

    def some_fail(case, *rest, **options):
        lost = np.flatnonzero(np.isclose(case.closures.outer_film_factor, 1.0))
        if len(lost):
            raise NotConvergedError("no", designs=tuple(lost.tolist()), residual=1.0, iterations=1)
        return skin_at(case, *rest, **options)

    monkeypatch.setattr("warmbranch.fit.skin_in_time.skin_at", some_fail)
    found = skins.at(np.log([[0.8], [1.0], [1.2]]), np.zeros(3))
    assert np.isnan(found[1, 0])
    assert_allclose(found[[0, 2]], good[[0, 2]], rtol=1e-12)
    with pytest.raises(NotConvergedError):
        skins.at(np.log([[1.0]]), np.zeros(1))


def test_a_time_without_a_warm_up_is_refused(drawn):
    with pytest.raises(InputError) as caught:
        fit(drawn.case, drawn.readings, Heard.none())
    assert caught.value.field == "readings.0.time"
    assert "warm-up" in str(caught.value)


@pytest.mark.parametrize("time", [-1.0, 7 * 3600.0])
def test_times_that_cannot_be(drawn, synthetic, time):
    readings = replace(drawn.readings, time=np.array([time, 300.0, 540.0]))
    with pytest.raises(InputError) as caught:
        fit(drawn.case, readings, Heard.none(), warming=synthetic.WARMING)
    assert caught.value.field == "readings.0.time"


def test_a_spot_that_has_warmed_does_not_contradict_itself(make_case, synthetic):
    """The same spot 2 and 9 minutes after the start: tens of kelvins apart, and honest."""
    case = make_case(gas_temperature=583.15)
    place, moments = np.full(2, 0.12), np.array([120.0, 540.0])
    skin = skin_at(case, synthetic.WARMING.drive, place, moments)[0]
    assert skin[1] - skin[0] > 20
    readings = synthetic.to_be_read(case, place, ("contact", "contact"))
    readings = replace(readings, time=moments, displayed=skin, uncertainty=np.full(2, 2.0))
    found = fit(case, readings, Heard.none(), warming=synthetic.WARMING)
    assert found.suspicions == ((), ())
