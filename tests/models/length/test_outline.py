"""The branch in space against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.case.geometry import Piece
from warmbranch.length.outline import Pipework, Space, outline

OUTSIDE, CAP, R = 0.05, 0.002, 0.08
RIGHT = math.pi / 2
ARC = 4e-5 * (R + OUTSIDE)
"""m. What points a degree apart may miss of a bend's extreme."""


def laid(*parts: tuple[Piece, float], rise: float = 0.0):
    pieces, twists = zip(*parts, strict=True)
    return outline(Pipework(pieces, twists), rise, OUTSIDE, CAP)


def straight(length: float) -> tuple[Piece, float]:
    return Piece(length), 0.0


def bend(angle: float, twist: float = 0.0) -> tuple[Piece, float]:
    return Piece.bend(angle, R), twist


def test_a_straight():
    box = laid(straight(1.0)).envelope
    assert_allclose([box.depth, box.width, box.height], [1.0 + CAP, OUTSIDE, OUTSIDE], rtol=1e-12)


@pytest.mark.parametrize("rise_deg", [-90, -30, 45, 90])
def test_a_straight_that_rises(rise_deg):
    """Exact: L cos + D sin, and L sin + D cos."""
    rise = math.radians(rise_deg)
    box = laid(straight(1.0), rise=rise).envelope
    total, sine, cosine = 1.0 + CAP, abs(math.sin(rise)), math.cos(rise)
    assert_allclose(box.depth, total * cosine + OUTSIDE * sine, atol=1e-12)
    assert_allclose(box.height, total * sine + OUTSIDE * cosine, atol=1e-12)


def test_an_elbow():
    """Exact: out by a + R and half the tube; along by R + b and the cap, back by half the tube."""
    found = laid(straight(0.2), bend(RIGHT), straight(0.5))
    box = found.envelope
    assert_allclose(box.depth, 0.2 + R + OUTSIDE / 2, atol=ARC)
    assert_allclose(box.width, OUTSIDE / 2 + R + 0.5 + CAP, atol=ARC)
    assert_allclose(box.height, OUTSIDE, atol=1e-12)
    assert_allclose(found.points[-1], [0.2 + R, R + 0.5, 0], atol=1e-12)
    assert_allclose(found.tangents[-1], [0, 1, 0], atol=1e-12)
    assert_allclose(found.along[-1], 0.2 + RIGHT * R + 0.5, rtol=1e-12)


@pytest.mark.parametrize(
    ("twist_deg", "end"), [(0, [0, 1, 0]), (90, [0, 0, 1]), (180, [0, -1, 0]), (-90, [0, 0, -1])]
)
def test_a_twist_turns_the_first_bend(twist_deg, end):
    found = laid(straight(0.2), bend(RIGHT, math.radians(twist_deg)))
    assert_allclose(found.tangents[-1], end, atol=1e-12)


def test_two_bends_make_a_step_when_the_second_is_turned_over():
    found = laid(bend(RIGHT), bend(RIGHT, math.pi), straight(0.1))
    assert_allclose(found.points[-1], [2 * R + 0.1, 2 * R, 0], atol=1e-12)
    assert_allclose(found.tangents[-1], [1, 0, 0], atol=1e-12)


def test_a_loop_comes_back():
    found = laid(bend(2 * math.pi))
    assert_allclose(found.points[-1], 0.0, atol=1e-12)
    box = found.envelope
    assert_allclose(box.width, 2 * R + OUTSIDE, atol=ARC)
    # The cap's thickness sticks out of nothing: the loop ends where it began.
    assert_allclose(box.depth, 2 * R + OUTSIDE, atol=ARC)


def test_three_elbows_each_twisted_by_a_right_angle():
    """Along x, y, z in turn: a corner path, worked by hand."""
    found = laid(bend(RIGHT), bend(RIGHT, RIGHT), bend(RIGHT, RIGHT))
    # x → y: (R, R, 0); y → z (y × inward(−x) = z): (R, 2R, R); z → x, inward after two turns.
    assert_allclose(found.points[90], [R, R, 0], atol=1e-12)
    assert_allclose(found.points[180], [R, 2 * R, R], atol=1e-12)
    assert_allclose(np.abs(found.tangents[-1]), [1, 0, 0], atol=1e-12)


def test_it_is_as_long_as_its_pieces():
    parts = (straight(0.1), bend(1.1, 0.4), straight(0.3), bend(2.0, -1.0), straight(0.2))
    found = laid(*parts)
    assert_allclose(found.along[-1], 0.6 + 3.1 * R, rtol=1e-12)
    chords = np.linalg.norm(np.diff(found.points, axis=0), axis=1).sum()
    # Chords of 1° are shorter than their arcs by (1°)²/24.
    assert_allclose(chords, found.along[-1], rtol=math.radians(1) ** 2 / 20)
    assert_allclose(np.linalg.norm(found.tangents, axis=1), 1.0, rtol=1e-12)


def test_centre_of_mass_of_an_elbow():
    """Exact: a quarter arc's centroid lies 2R/π from its centre along each side."""
    found = laid(bend(RIGHT))
    assert_allclose(found.middle, [2 * R / math.pi, R - 2 * R / math.pi, 0], rtol=1e-4)


class TestCrossing:
    def test_legs_of_hairpins(self):
        """However tight the bend that the tube can make, the legs lie side by side."""
        for radius in (0.51 * OUTSIDE, 0.6 * OUTSIDE, OUTSIDE, 4 * OUTSIDE):
            legs = (straight(0.4), (Piece.bend(math.pi, radius), 0.0), straight(0.4))
            assert not laid(*legs).crosses_itself

    def test_a_loop_crosses_itself(self):
        assert laid(straight(0.3), bend(2 * math.pi), straight(0.3)).crosses_itself

    def test_a_loop_that_climbs_does_not(self):
        """A quarter turn up and one back lift the second turn over the first."""
        climb = (bend(RIGHT), bend(RIGHT / 2, RIGHT), bend(RIGHT / 2, math.pi))
        assert not laid(straight(0.3), *climb, straight(0.1)).crosses_itself

    def test_a_straight_meets_nothing(self):
        assert not laid(straight(0.1)).crosses_itself
        assert not laid(straight(2.0)).crosses_itself


class TestSpace:
    def test_it_fits_by_a_hair(self):
        box = laid(straight(1.0)).envelope
        assert Space(width=OUTSIDE, depth=1.0 + CAP, height=OUTSIDE).holds(box)

    @pytest.mark.parametrize("side", ["width", "depth", "height"])
    def test_a_millimetre_too_small(self, side):
        box = laid(straight(1.0)).envelope
        room = {"width": OUTSIDE, "depth": 1.0 + CAP, "height": OUTSIDE}
        room[side] -= 1e-3
        assert not Space(**room).holds(box)


def test_falling_stretches():
    assert not laid(straight(1.0)).falls
    assert laid(straight(1.0), rise=-0.1).falls
    assert laid(
        straight(0.5), bend(RIGHT, RIGHT), straight(0.3), bend(math.pi), straight(0.2)
    ).falls


def test_resized_pipework_keeps_its_twists():
    pipework = Pipework((Piece(0.1), Piece.bend(1.0, R)), (0.0, 0.5))
    longer = pipework.resized((Piece(0.1), Piece.bend(1.0, R), Piece(0.2)))
    assert longer.twists == (0.0, 0.5, 0.0)
    assert pipework.resized((Piece(0.05),)).twists == (0.0,)
    assert pipework.bends == 1
    assert_allclose(longer.length, 0.3 + R, rtol=1e-12)


def test_a_branch_that_leans_along_the_main_pipe():
    """Exact: the end of a straight of 1 m that leans by 30° lies half a metre along the pipe."""
    laid = outline(Pipework((Piece(1.0),), (0.0,)), 0.0, OUTSIDE, CAP, math.radians(30))
    assert_allclose(laid.points[-1], [math.cos(math.pi / 6), 0.5, 0.0], atol=1e-12)
