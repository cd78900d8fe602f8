"""Positions of the nodes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch.heat.grid import DENSITY, graded

LENGTH = np.array([0.05, 0.4, 1.0, 3.0])
SCALE = np.array([2e-3, 1e-2, 0.5, 1e-4])  # the third is so long that the grid is even


@pytest.mark.parametrize("nodes", [3, 33, 161, 1281])
def test_runs_from_mouth_to_cap(nodes):
    x = graded(LENGTH, SCALE, nodes)
    assert x.shape == (4, nodes)
    assert_array_equal(x[:, 0], 0.0)
    assert_array_equal(x[:, -1], LENGTH)
    assert np.all(np.diff(x, axis=1) > 0)


@pytest.mark.parametrize("ratio", [1e-7, 1e-5, 1e-3, 0.1, 0.9, 1 - 1e-9, 1.0, 10.0])
def test_extreme_scales_still_rise(ratio):
    x = graded(np.ones(1), np.array([ratio / DENSITY]), 161)
    assert np.all(np.diff(x) > 0)
    assert np.all(np.isfinite(x))


def test_spacing_grows_by_one_ratio():
    """Exponential grading: each interval is the same multiple of the one before it."""
    growth = np.diff(graded(LENGTH, SCALE, 65), axis=1)
    growth = growth[:, 1:] / growth[:, :-1]
    # Rounding of x over the smallest interval, some 1e-16 / 1e-5.
    assert_allclose(growth, growth[:, :1] * np.ones_like(growth), rtol=1e-9)
    assert np.all(growth >= 1 - 1e-9)


def test_first_spacing_follows_the_shortest_scale():
    """dx/ds at the mouth is ``DENSITY`` decay lengths, or the whole length if that is shorter."""
    nodes = 20001
    x = graded(LENGTH, SCALE, nodes)
    # x(ds) = x'(0) ds (1 + β ds/2): with β < 15 the second term is below 4e-4.
    assert_allclose(x[:, 1] * (nodes - 1), np.minimum(LENGTH, DENSITY * SCALE), rtol=1e-3)


def test_long_scale_makes_an_even_grid():
    # β is held above 1e-9, and bends the grid by β/8 of the length at most.
    assert_allclose(graded(np.ones(1), np.ones(1), 33)[0], np.linspace(0, 1, 33), atol=1e-9)


def test_refinement_keeps_the_map():
    """Every node of the coarse grid is one of the fine grid: needed for an order of convergence."""
    coarse, fine = graded(LENGTH, SCALE, 41), graded(LENGTH, SCALE, 81)
    assert_allclose(fine[:, ::2], coarse, rtol=1e-12)  # rounding


def test_shorter_scale_crowds_the_mouth():
    x = graded(np.ones(3), np.array([1e-2, 1e-3, 1e-4]), 65)
    assert np.all(np.diff(x[:, 1]) < 0)
