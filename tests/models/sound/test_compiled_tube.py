"""Impedance of few and of many frequencies, and the flow along a duct, compiled."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.base import kernel
from warmbranch.sound import acoustics
from warmbranch.sound.compiled_line import LARGEST_SQUARE, SMALL_SQUARE
from warmbranch.sound.compiled_tube import FEW
from warmbranch.steady.solve import solve

# Rounding of 32 matrix products near a resonance, where pressure and flow nearly cancel.
ROUNDING = 1e-10


@pytest.fixture(scope="module")
def answer(box_sample):
    assert kernel.load() is not None, "numba is a dependency: the compiled loops must load"
    return solve(box_sample(150, seed=51))  # more than a room's lanes, and no multiple of them


def test_few_frequencies_are_many(answer):
    """Alone in a room with other designs, or with the rest of its own: the same impedance."""
    first = np.nan_to_num(answer.resonance[:, :1], nan=100.0)
    many = first * np.linspace(0.3, 3.2, FEW + 1)
    whole = acoustics.input_impedance(answer.duct, many)
    for some in (slice(0, 1), slice(3, 6), slice(5, 5 + FEW - 1)):
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
    monkeypatch.setenv(kernel.OFF, "off")
    expected, flow = acoustics.flow(answer.duct, frequency)
    assert size.shape == (150, 33)
    assert_allclose(impedance, expected, rtol=ROUNDING)
    # Over the largest along the branch: a node of the flow is nothing but rounding.
    assert_allclose(size, flow, rtol=ROUNDING, atol=ROUNDING * flow.max())
