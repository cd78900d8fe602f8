"""Impedance of few and of many frequencies, and the flow along a duct, compiled."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch import core
from warmbranch.sound import acoustics
from warmbranch.steady.solve import solve

SMALL_SQUARE, LARGEST_SQUARE = 0.05, 2.25
"""Of sound.c: squared phases of a cell from which other series serve."""

MANY = 25

# Rounding of 32 matrix products near a resonance, where pressure and flow nearly cancel.
ROUNDING = 1e-10


@pytest.fixture(scope="module")
def answer(box_sample):
    assert core.at_hand() is not None
    return solve(box_sample(150, seed=51))  # no multiple of the core's lanes


def test_few_frequencies_are_many(answer):
    """Beside other designs, or beside its own: the same impedance."""
    first = np.nan_to_num(answer.resonance[:, :1], nan=100.0)
    many = first * np.linspace(0.3, 3.2, MANY)
    whole = acoustics.input_impedance(answer.duct, many)
    for some in (slice(0, 1), slice(3, 6), slice(5, MANY - 2)):
        part = acoustics.input_impedance(answer.duct, np.ascontiguousarray(many[:, some]))
        assert_allclose(part, whole[:, some], rtol=1e-13)


@pytest.mark.parametrize(
    ("times", "beyond"), [(0.2, 0.0), (4.0, SMALL_SQUARE), (60.0, LARGEST_SQUARE)]
)
def test_flow_is_that_of_the_standing_wave(answer, monkeypatch, times, beyond):
    """In short cells, and at sixty times the frequency, where the series end."""
    frequency = times * np.nan_to_num(answer.resonance[:, 0], nan=100.0)
    *_, phase = acoustics._cell_matrices(answer.duct, frequency[:, None])
    assert np.abs(phase).max() ** 2 > beyond
    impedance, size = acoustics.flow(answer.duct, frequency)
    monkeypatch.setenv(core.OFF, "off")
    expected, flow = acoustics.flow(answer.duct, frequency)
    assert size.shape == (150, 33)
    assert_allclose(impedance, expected, rtol=ROUNDING)
    # Over the largest along the branch: a node of the flow is nothing but rounding.
    assert_allclose(size, flow, rtol=ROUNDING, atol=ROUNDING * flow.max())
