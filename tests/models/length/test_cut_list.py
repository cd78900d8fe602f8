"""Cut list: arcs, saddle, mass and bars by hand."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from warmbranch.base.errors import GeometryError
from warmbranch.case.geometry import Piece
from warmbranch.length.cut_list import cap_mass, cut_pieces, saddle_depth, stock, tube_mass

PIECES = (Piece(0.18), Piece.bend(math.pi / 2, 0.072), Piece(0.9))


def test_arcs_of_a_right_angle():
    """By hand: R 72, D 48.3: π/2 × (72 ∓ 24.15) = 75.16 and 151.03 mm; 113.10 on the centre."""
    bend = cut_pieces(PIECES, 0.0483)[1]
    assert bend.is_bend
    assert_allclose(bend.inside, 0.0751626, atol=5e-8)
    assert_allclose(bend.outside, 0.1510321, atol=5e-8)
    assert_allclose(bend.piece.length, 0.1130973, atol=5e-8)
    assert_allclose(bend.angle, math.pi / 2, rtol=1e-12)


def test_pieces_follow_each_other():
    found = cut_pieces(PIECES, 0.0483)
    assert found[0].start == 0
    for one, next_ in itertools.pairwise(found):
        assert_allclose(one.end, next_.start, rtol=1e-12)
    assert_allclose(found[-1].end, sum(p.length for p in PIECES), rtol=1e-12)
    assert [piece.takes_length for piece in found] == [False, False, True]
    for piece in (found[0], found[2]):
        assert not piece.is_bend
        assert piece.inside == piece.outside == piece.piece.length
        assert piece.angle == 0


@given(angle=st.floats(0.1, 6.0), radius=st.floats(0.03, 0.5))
def test_sides_of_a_bend_measure_their_own_circles(angle, radius):
    (bend,) = cut_pieces([Piece.bend(angle, radius)], 0.05)
    assert_allclose(bend.inside, angle * (radius - 0.025), rtol=1e-9)
    assert_allclose(bend.outside, angle * (radius + 0.025), rtol=1e-9)


def test_saddle():
    """By hand: 60 on 100: 50 − √(50² − 30²) = 10 mm."""
    assert_allclose(saddle_depth(0.06, 0.10), 0.010, rtol=1e-12)
    assert_allclose(saddle_depth(0.05, 0.05), 0.025, rtol=1e-12)  # as wide: half the pipe
    assert math.isnan(saddle_depth(0.06, 0.05))


def test_mass_of_a_bent_tube_is_that_of_its_centre_line():
    """Pappus, against a torus's own volume: 2π² R (r_o² − r_i²)."""
    radius, outer, inner, density = 0.08, 0.025, 0.0235, 7900.0
    section = math.pi * (outer**2 - inner**2)
    torus = 2 * math.pi**2 * radius * (outer**2 - inner**2) * density
    assert_allclose(tube_mass(2 * math.pi * radius, section, density), torus, rtol=1e-12)
    assert_allclose(cap_mass(0.05, 0.002, density), 7900 * math.pi * 0.025**2 * 0.002, rtol=1e-12)


class TestStock:
    def test_by_hand(self):
        """0.6 and 0.3 from one bar of a metre, 0.5 from another; three kerfs of 2 mm."""
        found = stock([0.3, 0.6, 0.5], 0.002, 1.0)
        assert found.bars == 2
        assert_allclose(found.length, 1.406, rtol=1e-12)
        assert_allclose(found.left_over, 2.0 - 1.406, rtol=1e-12)

    def test_a_bar_used_to_its_very_end(self):
        found = stock([0.5, 0.498], 0.002, 1.0)
        assert found.bars == 1
        assert_allclose(found.left_over, 0.0, atol=1e-12)

    def test_a_straight_longer_than_a_bar(self):
        with pytest.raises(GeometryError, match="longer than a bar"):
            stock([1.2], 0.002, 1.0)

    @given(st.lists(st.floats(0.05, 1.0), min_size=1, max_size=8))
    def test_never_more_than_was_bought(self, straights):
        found = stock(straights, 0.003, 1.0)
        assert found.bars >= math.ceil(sum(straights) - 1e-9)
        assert found.bars <= len(straights)
        used = np.sum(straights)
        assert found.left_over <= found.bars - used + 1e-9


def test_saddle_of_a_tube_that_leans():
    """Exact: on a plane crown, R → ∞, r tan φ; square, as before; by brute force else."""
    assert_allclose(saddle_depth(0.05, 1e4, math.radians(30)), 0.025 * math.tan(math.pi / 6))
    assert saddle_depth(0.05, 0.06, 0.0) == saddle_depth(0.05, 0.06)
    lean, r, main = 0.5, 0.025, 0.03
    around = np.linspace(0, 2 * np.pi, 100_001)
    meets = np.sqrt(main**2 - (r * np.sin(around)) ** 2) + r * np.cos(around) * math.sin(lean)
    depth = (main - meets.min()) / math.cos(lean)
    assert_allclose(saddle_depth(0.05, 0.06, lean), depth, rtol=1e-3)
    assert saddle_depth(0.05, 0.06, -lean) == saddle_depth(0.05, 0.06, lean)
