"""Lengths for tones: exact cases, the round trip, what happens at the ends of the range."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from warmbranch.case.case import Case
from warmbranch.case.geometry import Piece
from warmbranch.length.length_for_tone import (
    FREQUENCY_TOLERANCE,
    LONGEST,
    MOST_LENGTH_STEPS,
    ToneOutcome,
    _Search,
    bounds,
    frozen_slope,
    length_for,
    one_temperature_length,
    with_length,
)
from warmbranch.steady.sensitivity import sensitivity
from warmbranch.steady.solve import solve

PROMISED = 1e-6
"""Relative; length and steady agree both ways to this."""


def tone(*frequencies: float) -> np.ndarray:
    return np.array(frequencies)


def test_a_uniform_tube_is_a_quarter_wave(uniform_case):
    sized = length_for(uniform_case(), tone(100.0))
    speed = sized.answer.main_sound_speed
    # The search itself ends at 1e-7 in frequency, and length goes as its inverse.
    assert_allclose(sized.length, speed / 400.0, rtol=2e-7)
    # The slope is a secant's, of points some percent apart, turned by the frozen slope: exact for
    # a power law.
    assert_allclose(sized.slope, -1.0, rtol=1e-6)
    # Pressure squared is integrated over 32 cells by a parabola through means: some 1e-3.
    assert_allclose(frozen_slope(sized.answer, tone(100.0)), -1.0, rtol=1e-3)


@pytest.mark.parametrize("frequency", [45.0, 60.0, 78.3, 120.0, 300.0])
@pytest.mark.parametrize("bends", [False, True])
def test_round_trip(a_case, bent, frequency, bends):
    case = a_case(pieces=bent if bends else None)
    sized = length_for(case, tone(frequency))
    assert sized.outcome[0] == ToneOutcome.FOUND
    again = solve(with_length(case, sized.length)).resonance[:, 0]
    assert_allclose(again, frequency, rtol=PROMISED)
    assert_allclose(sized.answer.length, sized.length, rtol=1e-12)


def test_round_trip_with_mixing_by_pulsation(a_case):
    case = a_case(incident_pressure=800.0)
    sized = length_for(case, tone(80.0))
    assert_allclose(solve(with_length(case, sized.length)).resonance[:, 0], 80.0, rtol=PROMISED)


@settings(max_examples=25, deadline=None)
@given(length=st.floats(0.3, 2.5), hot=st.floats(350.0, 1200.0), stirring=st.floats(0.03, 0.8))
def test_length_gives_back_what_steady_was_told(a_case, length, hot, stirring):
    case = a_case(length=length, gas_temperature=hot, stirring=stirring)
    heard = solve(case).resonance[:, 0]
    # ln f goes about as −ln L, so that the millionth holds for the length too, twice over.
    assert_allclose(length_for(case, heard).length, length, rtol=2 * PROMISED)


def test_the_length_given_does_not_matter(a_case):
    found = [length_for(a_case(length=own), tone(80.0)).length[0] for own in (0.2, 1.1, 2.9)]
    assert_allclose(found, found[0], rtol=1e-12)


def test_a_batch_is_its_members(operating_points):
    wanted = tone(78.0, 78.0, 90.0, 20.0, 55.0)
    together = length_for(operating_points, wanted)
    for i in range(5):
        alone = length_for(operating_points.take(slice(i, i + 1)), wanted[i : i + 1])
        # Batches are stepped alike but not to the same rounding; the search ends at 1e-7.
        assert_allclose(together.length[i], alone.length[0], rtol=2e-7)
        assert together.outcome[i] == alone.outcome[0]


def test_few_solves(a_case):
    for frequency in (50.0, 78.0, 150.0):
        assert length_for(a_case(), tone(frequency)).solves[0] <= 4


def test_hotter_means_longer(a_case):
    """Common practice, no source."""
    hot = [450.0, 550.0, 650.0, 800.0]
    batch = Case.concatenate([a_case(gas_temperature=value) for value in hot])
    assert np.all(np.diff(length_for(batch, np.full(4, 80.0)).length) > 0)


def test_one_temperature_rule_is_too_long(a_case):
    """The rule that this model exists to correct: by ten percent or more on a hot pipe."""
    sized = length_for(a_case(), tone(78.0))
    assert one_temperature_length(tone(78.0), tone(583.15))[0] > 1.1 * sized.length[0]


def test_slope_is_the_derivative(a_case):
    case = a_case()
    sized = length_for(case, tone(78.0))
    step = 1e-3
    ends = solve(with_length(case.repeat(2), sized.length * np.exp([-step, step]))).resonance[:, 0]
    slope = np.log(ends[1] / ends[0]) / (2 * step)
    # The search's secant spans its last step, which may be some percent long.
    assert_allclose(sized.slope[0], slope, rtol=1e-3)
    assert_allclose(sized.frequency_per_length[0], slope * 78.0 / sized.length[0], rtol=1e-3)
    # The profile changes a little with the length: some percent, and it makes itself felt.
    assert 1e-4 < abs(frozen_slope(sized.answer, tone(78.0))[0] / slope - 1) < 0.05


@pytest.mark.parametrize(
    ("frequency", "outcome", "length"),
    [(12.0, ToneOutcome.TOO_LOW, LONGEST), (2000.0, ToneOutcome.TOO_HIGH, 3 * 45.3e-3)],
)
def test_tones_out_of_reach(a_case, frequency, outcome, length):
    sized = length_for(a_case(), tone(frequency))
    assert sized.outcome[0] == outcome
    assert_allclose(sized.length, length, rtol=2e-9)
    reached = sized.answer.resonance[0, 0]
    assert reached > frequency if outcome == ToneOutcome.TOO_LOW else reached < frequency


def test_tones_at_the_ends_of_the_range(a_case):
    case = a_case()
    for end in bounds(case):
        heard = solve(with_length(case, end)).resonance[:, 0]
        sized = length_for(case, heard)
        assert sized.outcome[0] == ToneOutcome.FOUND
        assert_allclose(sized.length, end, rtol=2 * PROMISED)


def test_a_bore_too_narrow_to_resonate(a_case):
    case = a_case(outside_diameter=6e-3, wall_thickness=2.5e-3)
    sized = length_for(case, tone(60.0))
    assert sized.outcome[0] == ToneOutcome.OVERDAMPED
    assert np.isnan(sized.answer.resonance[0, 0])


def test_a_short_branch_loses_its_bends(a_case, bent):
    sized = length_for(a_case(pieces=bent), tone(500.0))
    (pieces,) = sized.answer.case.branch.pieces
    assert sized.length[0] < 0.18 + math.pi / 2 * 0.072 + 0.94
    assert pieces[0] == Piece(0.18)
    assert len(pieces) == 2


def test_the_slope_is_that_of_the_solved_jacobian(box_sample):
    """Turned secants cost no solution; the derivative itself costs as much as four."""
    case = box_sample(32, seed=5)
    answer = solve(case, modes=1)
    first = answer.resonance[:, 0]
    sized = length_for(case, np.where(np.isnan(first), answer.transit_time, first) * 1.03)
    found = sensitivity(sized.answer, ["branch.length"]).resonance[0]
    true = found * sized.answer.length / sized.answer.resonance[:, 0]
    there = (sized.outcome == ToneOutcome.FOUND) & ~np.isnan(true)
    assert there.sum() > 16
    # Measured over 64 designs: 1e-6 in the middle, 5e-4 at worst.
    assert_allclose(sized.slope[there], true[there], rtol=1e-3)
    assert np.median(np.abs(sized.slope[there] / true[there] - 1)) < 1e-5


def sought(offset, low=-3.0, high=3.0) -> tuple[float, int, bool]:
    """Where the search ends on a made-up ln(f/wanted) against ln L, after how many looks."""
    search = _Search(*(np.array([x]) for x in (1.0, low, high)))
    for looks in range(1, MOST_LENGTH_STEPS + 1):
        here = search.x.copy()
        value = np.array([offset(float(here[0]))])
        search.advance(value, np.array([-1.0]))
        if abs(value[0]) < FREQUENCY_TOLERANCE or search.closed[0]:
            return float(here[0]), looks, bool(search.closed[0])
    raise AssertionError("the search did not end")


@pytest.mark.parametrize("steepness", [6.0, 20.0, 60.0])
def test_a_tone_that_falls_steeply_is_found(steepness):
    """As behind a large step of the bore: flat, then steep, then flat."""
    place, _, jumps = sought(lambda x: -2 * np.tanh(steepness * (x - 0.37)) - 0.1 * (x - 0.37))
    assert not jumps
    assert_allclose(place, 0.37, atol=1e-7)


def test_a_tone_that_jumps_is_told():
    """As where losses take the first resonance, and the next is the lowest that is left."""
    place, looks, jumps = sought(lambda x: -0.9 * (x - 0.1) + (2.2 if x < 0.4 else 0.0))
    assert jumps
    assert_allclose(place, 0.4, atol=1e-6)
    assert looks < MOST_LENGTH_STEPS
