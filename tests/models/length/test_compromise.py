"""The best length against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.length.compromise import Aim, Tones, best_length, left_over
from warmbranch.length.length_for_tone import LONGEST, length_for, with_length
from warmbranch.steady.solve import solve

WEIGHT = np.array([5.0, 1.0, 1.0, 2.0, 2.0])
RPM = np.array([1200.0, 1800, 2200, 2350, 2600, 3200, 4000])
LEVEL = np.array([60.0, 66, 74, 78, 73, 70, 68])
"""An invented curve from a phone."""
FREQUENCY = RPM * 2 / 60


def brute_force(case, tones, weight, aim, lengths):
    """Objective at each length, the whole model solved at every one of them."""
    count = len(case)
    which = np.tile(np.arange(count), len(lengths))
    answer = solve(with_length(case.take(which), np.repeat(lengths, count)))
    loss = answer.transmission_loss(tones.frequency[which])
    left = tones.level - loss.reshape(len(lengths), count, -1)
    return left_over(left, weight, tones.share, aim)


def curve(points, low=FREQUENCY[0], high=FREQUENCY[-1]):
    return Tones.from_curve(FREQUENCY, LEVEL, low, high, points)


@pytest.mark.parametrize("aim", list(Aim))
def test_a_curve_and_five_points_against_brute_force(operating_points, aim):
    tones = curve(5)
    found = best_length(operating_points, tones, WEIGHT, aim)
    lengths = np.linspace(0.7, 2.4, 171)
    wide = brute_force(operating_points, tones, WEIGHT, aim, lengths)
    near = lengths[np.argmin(wide)] + np.linspace(-0.012, 0.012, 97)
    close = brute_force(operating_points, tones, WEIGHT, aim, near)
    # Nowhere is it better, but for what a quarter of a millimetre between two tries can hide.
    assert found.objective_after <= close.min() + 0.005
    # A flat minimum leaves the length less certain than the level.
    assert_allclose(found.length, near[np.argmin(close)], atol=2e-3)
    assert found.objective_after < found.objective_before - 2
    assert found.designs <= 60  # of the promise: at most sixty steady answers' time


def test_the_levels_are_the_models_own(operating_points):
    tones = curve(5)
    found = best_length(operating_points, tones, WEIGHT, Aim.MEAN)
    again = brute_force(operating_points, tones, WEIGHT, Aim.MEAN, np.array([found.length]))
    assert_allclose(found.objective_after, again[0], rtol=1e-12)
    assert_allclose(found.before, tones.level, rtol=0, atol=0)


def test_one_point_and_one_tone_is_the_length_for_it(a_case):
    case = a_case()
    found = best_length(case, Tones.single(np.array([78.0])), np.ones(1), Aim.MEAN)
    # The least impedance lies where its reactance vanishes, but for the resistance's
    # own slope: a share 1/Q² of the tone.
    assert_allclose(found.length, length_for(case, np.array([78.0])).length[0], rtol=3e-4)


def test_weights_pull(operating_points):
    """The more a point counts, the nearer the length to that point's own."""
    tones = Tones.single(np.full(5, 78.0))
    own = length_for(operating_points, np.full(5, 78.0)).length
    distance = []
    for weight in (1.0, 10.0, 1000.0):
        found = best_length(operating_points, tones, np.array([1.0, 1, weight, 1, 1]), Aim.MEAN)
        distance.append(abs(found.length - own[2]))
    assert distance[0] > distance[1] > distance[2]


def test_a_point_of_no_weight_does_not_count(operating_points):
    tones = Tones.single(np.full(5, 78.0))
    for aim in Aim:
        weight = np.array([1.0, 0, 0, 0, 0])
        found = best_length(operating_points, tones, weight, aim)
        own = length_for(operating_points, np.full(5, 78.0)).length[0]
        assert_allclose(found.length, own, rtol=3e-4)


def test_loudest_of_two_points_lies_between_them(operating_points):
    pair = operating_points.take(np.array([1, 2]))
    own = length_for(pair, np.full(2, 78.0)).length
    found = best_length(pair, Tones.single(np.full(2, 78.0)), np.ones(2), Aim.LOUDEST)
    assert own[0] < found.length < own[1]
    # The loudest is least where both are alike.
    assert_allclose(found.after[0, 0], found.after[1, 0], atol=0.02)


def test_at_the_end_of_the_range(a_case):
    case = a_case()
    found = best_length(case, Tones.single(np.array([12.0])), np.ones(1), Aim.MEAN)
    assert found.at_bound
    assert_allclose(found.length, LONGEST, rtol=1e-3)


class TestTones:
    def test_the_curve_keeps_its_own_points(self):
        tones = curve(2)
        for frequency, level in zip(FREQUENCY, LEVEL, strict=True):
            i = int(np.argmin(np.abs(tones.frequency[1] - frequency)))
            assert_allclose(tones.frequency[1, i], frequency, rtol=1e-12)
            assert_allclose(tones.level[1, i], level, rtol=1e-12)

    def test_shares_weigh_by_width(self):
        tones = curve(1)
        assert_allclose(tones.share.sum(), 1.0, rtol=1e-12)
        # Trapezoidal rule, exact for a straight line.
        middle = (tones.frequency[0, 0] + tones.frequency[0, -1]) / 2
        assert_allclose(tones.frequency[0] @ tones.share, middle, rtol=1e-12)

    def test_a_band(self):
        tones = curve(1, 70.0, 90.0)
        assert_allclose(tones.frequency[0, [0, -1]], [70.0, 90.0], rtol=1e-12)


class TestLeftOver:
    def test_equal_levels(self):
        level = np.full((2, 3), 70.0)
        share = np.array([0.25, 0.5, 0.25])
        for aim in Aim:
            assert_allclose(left_over(level, np.array([1.0, 3.0]), share, aim), 70.0, rtol=1e-12)

    def test_powers_add(self):
        """By hand: half of the band 10 dB louder: 10 lg (11/2) = 7.4036 dB above the rest."""
        level = np.array([[60.0, 70.0]])
        mean = left_over(level, np.ones(1), np.array([0.5, 0.5]), Aim.MEAN)
        assert_allclose(mean, 67.4036, atol=5e-5)
