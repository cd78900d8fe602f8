"""Edges of the notch: exact for a uniform tube without losses."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from closed_forms import uniform_notch_width
from warmbranch.length.bandwidth import LEVELS, notch
from warmbranch.length.stock import STOCK_TUBES, stock_neighbours
from warmbranch.sound.acoustics import transmission_loss
from warmbranch.steady.solve import solve


@pytest.mark.parametrize("outside", [25.3e-3, 38.1e-3, 48.3e-3, 60.3e-3])
def test_uniform_lossless_tube(uniform_case, outside):
    case = uniform_case(outside_diameter=outside, flow_loss=0.0, level_loss=0.0)
    answer = solve(case)
    sections = float((case.branch.bore_area / case.main_pipe.bore_area)[0])
    found = notch(answer)
    first = answer.resonance[0, 0]
    for i, level in enumerate(LEVELS):
        # Straight lines between looks 1/4000 of the tone apart: 1e-6 of the tone.
        exact = uniform_notch_width(sections, level)
        assert_allclose(found.width[0, i] / first, exact, atol=2e-6)
        # Around the resonance the notch of a uniform tube is even to both sides.
        assert_allclose((found.low[0, i] + found.high[0, i]) / 2, first, rtol=5e-6)


def test_a_peak_without_end():
    """Without losses, asked at the very resonance, the loss is infinite and the edges are not."""
    first, sections = 100.0, 0.1

    class Uniform:
        """As much of an answer as the notch looks at, by the closed form."""

        resonance = np.array([[first]])
        tone = np.array([first])

        def transmission_loss(self, tones):
            impedance = -1j / np.tan(np.pi / 2 * tones / first)
            return transmission_loss(np.where(tones == first, 0, impedance), np.array([sections]))

    found = notch(Uniform())
    assert np.isposinf(found.peak[0])
    for i, level in enumerate(LEVELS):
        # Straight lines between looks 1/4000 of the tone apart: 1e-6 of the tone.
        exact = uniform_notch_width(sections, level)
        assert_allclose(found.width[0, i] / first, exact, atol=2e-6)


@pytest.mark.parametrize("mouth", [{}, {"flow_loss": 0.0, "level_loss": 0.0}])
def test_edges_lie_on_the_level(a_case, mouth):
    answer = solve(a_case(**mouth))
    highest = 20.0 if mouth else 15.0  # what resists at the mouth takes the peak below 20
    found = notch(answer, (1.0, 3.0, 6.0, 10.0, highest))
    for side in (found.low, found.high):
        assert_allclose(answer.transmission_loss(side)[0], found.level, atol=1e-4)
    assert_allclose(found.peak, answer.transmission_loss(answer.resonance[:, :1])[:, 0], rtol=1e-12)


def test_a_wider_branch_has_a_wider_notch(a_case):
    """Common practice, no source."""
    widths = [notch(solve(a_case(outside_diameter=d))).width[0, 2] for d in (38e-3, 48e-3, 57e-3)]
    assert widths[0] < widths[1] < widths[2]


def test_a_cold_tail_narrows_the_notch(a_case, uniform_case):
    """Referred to the gas at the mouth; some 10 % in the literature's example profile."""
    hot = solve(a_case(wall_losses=False, fixed_mouth_length=0.0))
    uniform = solve(uniform_case())
    ours, theirs = (notch(answer).width / answer.resonance[:, :1] for answer in (hot, uniform))
    assert np.all(ours < 0.97 * theirs)


def test_a_level_that_is_not_reached(a_case):
    answer = solve(a_case(outside_diameter=15e-3, wall_thickness=1.5e-3))
    found = notch(answer, (0.5, 40.0))
    assert found.peak[0] < 40
    assert np.isnan(found.width[0, 1])
    assert found.width[0, 0] > 0


class TestStock:
    def test_sizes_rise_and_are_admissible(self):
        sizes = [tube.outside_diameter for tube in STOCK_TUBES]
        assert sizes == sorted(sizes)
        assert sizes[0] >= 0.015
        assert sizes[-1] <= 0.150

    @pytest.mark.parametrize("outside", [0.03, 0.0483, 0.0508, 0.0635, 0.1])
    def test_neighbours_differ_clearly_and_are_nearest(self, outside):
        below, above = stock_neighbours(outside, 0.015, 0.15)
        assert below is not None
        assert above is not None
        assert below.outside_diameter <= 0.92 * outside
        assert above.outside_diameter >= 1.08 * outside
        between = [
            tube
            for tube in STOCK_TUBES
            if below.outside_diameter < tube.outside_diameter < 0.92 * outside
            or 1.08 * outside < tube.outside_diameter < above.outside_diameter
        ]
        assert not between

    def test_none_beyond_the_bounds(self):
        assert stock_neighbours(0.05, 0.049, 0.051) == (None, None)
