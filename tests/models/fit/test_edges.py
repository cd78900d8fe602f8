"""Too little, too much, all in one place, and what cannot all be true: a sensible end each."""

from __future__ import annotations

import numpy as np
import pytest

from shared.readings import contacts
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.solve import fit
from warmbranch.fit.taught import FitOutcome
from warmbranch.steady.solve import solve

LENGTH = 1.031
"""m, of the case that all these look at."""


def read_at(case, place, seed=1) -> Readings:
    """Of the branch as it is most likely, with 2 K of noise."""
    profile, place = solve(case).profile, np.asarray(place)
    skin = np.interp(place, profile.position[0], profile.skin[0])
    return contacts(place, skin + 2 * np.random.default_rng(seed).normal(size=len(place)))


def heard(*rpm: float) -> Heard:
    """By a six-cylinder four-stroke engine, to 1 %."""
    tone = 3 / 60 * np.array(rpm)
    return Heard.of_warm(tone, 0.01 * tone, LENGTH * np.ones(len(tone)))


def width(levels) -> float:
    return float(np.log(levels[-1] / levels[0]))


def test_one_tone_and_nothing_read(make_case):
    found = fit(make_case(), Readings.none(), heard(1800.0), target=110.0)
    assert found.outcome is FitOutcome.PRIOR_DOMINATED
    assert width(found.after) < width(found.before)
    assert found.after[0] < 90.0 < found.after[-1]
    assert found.trim is not None
    assert found.trim.heard
    # One hearing leaves at least what an ear is off by, and its own 1 %.
    assert width(found.after) > 3.29 * 0.01


@pytest.mark.slow
def test_fifty_readings(synthetic, make_case):
    drawn = synthetic.experiment(np.random.default_rng(5), 50, listens=False, case=make_case())
    found = fit(drawn.case, drawn.readings, drawn.heard)
    assert found.outcome in (FitOutcome.FITTED, FitOutcome.PRIOR_DOMINATED)
    assert found.learned_share > 0.2
    low, high = found.after[[0, -1]]
    assert low <= drawn.truth.resonance[0, 0] <= high
    assert found.ensemble.effective > 30


def test_ten_readings_of_one_place_tell_hardly_more_than_one(make_case):
    """What they share does not average out: nowhere near a tenth of the variance."""
    one, ten = (
        fit(make_case(), read_at(make_case(), [0.4] * n), Heard.none(), warm=True) for n in (1, 10)
    )
    assert one.outcome is FitOutcome.PRIOR_DOMINATED
    assert width(ten.after) > 0.75 * width(one.after)
    # And the next place is another one.
    assert abs(ten.advice.position[ten.advice.best] - 0.4) > 0.1


def test_all_in_the_last_tenth(make_case):
    """The cap end is cold whatever the mouth is like: the mouth is where to read next."""
    place = np.linspace(0.91, 0.99, 8) * LENGTH
    found = fit(make_case(), read_at(make_case(), place), Heard.none())
    assert found.outcome in (FitOutcome.PRIOR_DOMINATED, FitOutcome.FITTED)
    # Two standard errors of a width told by some two hundred draws.
    assert width(found.after) < 1.1 * width(found.before)
    assert found.advice.position[found.advice.best] < 0.6 * LENGTH


def test_two_tones_that_cannot_both_be(make_case):
    """1800 and 2000 rpm of one build: one of them is said not to fit, or both, and all is wider."""
    one = fit(make_case(), Readings.none(), heard(1800.0, 1800.0))
    both = fit(make_case(), Readings.none(), heard(1800.0, 2000.0))
    assert both.outcome is FitOutcome.CONTRADICTORY
    assert any(s is not None and s.code == "does_not_fit" for s in both.heard_suspicions)
    assert width(both.after) > width(one.after)


def test_readings_that_cannot_all_be(make_case):
    shown = 273.15 + np.array([40.0, 90.0, 35.0, 95.0])
    found = fit(make_case(), contacts([0.2, 0.4, 0.6, 0.8], shown), heard(1800.0))
    assert found.outcome is FitOutcome.CONTRADICTORY
    assert np.all(np.isfinite(found.after))
    assert sum(bool(own) for own in found.suspicions) >= 2
