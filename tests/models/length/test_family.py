"""Interpolation over lengths against the model itself."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from warmbranch.length.family import family
from warmbranch.length.length_for_tone import with_length
from warmbranch.steady.solve import solve

TONES = np.linspace(40.0, 200.0, 33)


def direct(case, lengths):
    count = len(case)
    which = np.tile(np.arange(count), len(lengths))
    answer = solve(with_length(case.take(which), np.repeat(lengths, count)))
    tones = np.tile(TONES, (len(which), 1))
    return answer.transmission_loss(tones).reshape(len(lengths), count, -1)


def test_at_its_own_lengths_it_is_the_model(operating_points):
    known = family(operating_points, 0.8, 1.6, np.tile(TONES, (5, 1)))
    loss = known.transmission_loss(known.lengths)
    # exp(ln ρ + jφ) of what was taken apart: rounding, enlarged near the peaks.
    assert_allclose(loss, direct(operating_points, known.lengths), rtol=1e-8, atol=1e-8)


def test_between_its_lengths(operating_points):
    known = family(operating_points, 0.8, 1.6, np.tile(TONES, (5, 1)), count=7)
    lengths = np.array([0.85, 1.03, 1.21, 1.44, 1.57])
    exact = direct(operating_points, lengths)
    # What the docstring promises.
    assert np.abs(known.transmission_loss(lengths) - exact)[exact < 10].max() < 0.15


def test_over_a_few_percent(operating_points):
    known = family(operating_points, 1.16, 1.25, np.tile(TONES, (5, 1)), count=4)
    lengths = np.array([1.172, 1.2, 1.239])
    wrong = known.transmission_loss(lengths) - direct(operating_points, lengths)
    assert np.abs(wrong).max() < 0.002  # what the docstring promises


def test_more_lengths_are_better(operating_points):
    case = operating_points.take(slice(0, 1))
    lengths = np.linspace(0.61, 1.97, 9)
    exact = direct(case, lengths)
    wrong = []
    for count in (4, 6, 8):
        known = family(case, 0.6, 2.0, TONES[None], count=count)
        wrong.append(np.max(np.abs(known.transmission_loss(lengths) - exact)[exact < 10]))
    # Where the wall turns wet moves with the length, and is no smooth function of it.
    assert wrong[0] > 2.5 * wrong[1] > 6 * wrong[2]
