"""Bends, validation, resizing."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import integrate

from warmbranch.base.errors import GeometryError
from warmbranch.case.geometry import Branch, Piece, Tube, bend_inertance_ratio

STRAIGHT = (Piece(0.9),)


def branch(pieces=STRAIGHT, *, diameter=0.0483, wall=0.0015, cap=0.002, rise=0.0):
    one = np.ones(1)
    return Branch(diameter * one, wall * one, cap * one, (tuple(pieces),), rise * one)


class TestBend:
    @pytest.mark.parametrize("bend_radius", [0.52, 0.75, 1.0, 1.5, 3.0, 10.0])
    def test_against_quadrature(self, bend_radius):
        """The gas of a bend moves as in shells of length ∝ r: inertance A / (R ∫ dA/r)."""
        bore_radius = 0.5

        def chord_over_radius(offset):
            return 2 * math.sqrt(bore_radius**2 - offset**2) / (bend_radius + offset)

        integral, _ = integrate.quad(
            chord_over_radius, -bore_radius, bore_radius, epsabs=0, epsrel=1e-11, limit=200
        )
        expected = math.pi * bore_radius**2 / (bend_radius * integral)
        ours = bend_inertance_ratio(np.array(bore_radius), np.array(bend_radius))
        assert_allclose(ours, expected, rtol=1e-9)  # what the quadrature is asked for, with room

    def test_textbook_form(self):
        b = np.array([0.9, 0.5, 0.1])
        expected = (b**2 / 2) / (1 - np.sqrt(1 - b**2))
        # The textbook form itself loses digits: 1 − √(1−B²) at B = 0.1 keeps 5e-3 of them.
        assert_allclose(bend_inertance_ratio(b, np.ones(3)), expected, rtol=1e-13)

    def test_straight(self):
        assert bend_inertance_ratio(np.array(0.02), np.array(math.inf)) == 1

    @given(ratio=st.floats(1.001, 1e6))
    def test_lies_between_a_half_and_one(self, ratio):
        ours = bend_inertance_ratio(np.array(1.0), np.array(ratio))
        assert 0.5 < ours <= 1

    def test_bend_by_angle(self):
        bend = Piece.bend(math.pi / 2, 0.072)
        assert_allclose(bend.length, 0.113097, atol=5e-7)  # last printed digit
        assert bend.bend_radius == 0.072


class TestSizes:
    def test_length_is_the_sum_of_the_pieces(self):
        own = branch([Piece(0.18), Piece.bend(math.pi / 2, 0.072), Piece(0.52)])
        assert_allclose(own.length, [0.18 + math.pi / 2 * 0.072 + 0.52], rtol=1e-15)

    def test_sections(self):
        own = branch()
        assert_allclose(own.bore, [0.0453], rtol=1e-14)
        # By hand: π/4 · 45.3² and π · 1.5 · 46.8 mm².
        assert_allclose(own.bore_area * 1e6, [1611.7077], rtol=1e-7)
        assert_allclose(own.wall_area * 1e6, [220.5398], rtol=1e-6)
        assert_allclose(own.bore_perimeter, [math.pi * 0.0453], rtol=1e-14)

    def test_designs_are_independent(self):
        both = Branch.concatenate([branch(), branch([Piece(0.5)], diameter=0.06)])
        assert_allclose(both.length, [0.9, 0.5], rtol=0, atol=0)
        assert_allclose(both.take(slice(1, 2)).bore, [0.057], rtol=1e-14)


class TestImpossible:
    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"diameter": 0.0}, "branch.outside_diameter"),
            ({"diameter": -0.05}, "branch.outside_diameter"),
            ({"diameter": math.nan}, "branch.outside_diameter"),
            ({"wall": 0.0}, "branch.wall_thickness"),
            ({"wall": 0.0483 / 2}, "branch.wall_thickness"),
            ({"wall": math.nan}, "branch.wall_thickness"),
            ({"pieces": []}, "branch.centreline"),
            ({"pieces": [Piece(0.9), Piece(0.0)]}, "branch.centreline"),
            ({"pieces": [Piece(0.9), Piece(-0.1)]}, "branch.centreline"),
            ({"pieces": [Piece(0.9), Piece.bend(1.0, 0.0241)]}, "branch.centreline"),
            ({"pieces": [Piece(0.13)]}, "branch.centreline"),
        ],
    )
    def test_is_refused_by_name(self, changes, field):
        with pytest.raises(GeometryError) as caught:
            branch(**changes)
        assert caught.value.field == field
        assert caught.value.remedy

    def test_shortest_is_allowed(self):
        assert branch([Piece(3 * 0.0453)]).length[0] > 0.1358

    def test_one_bad_design_spoils_the_batch(self):
        with pytest.raises(GeometryError):
            Branch(
                np.array([0.05, 0.05]),
                np.array([0.0015, 0.03]),
                np.array([0.002, 0.002]),
                ((Piece(0.9),), (Piece(0.9),)),
                np.zeros(2),
            )


BENT = [Piece(0.3), Piece.bend(math.pi / 2, 0.1), Piece(0.4)]


class TestWithLength:
    @pytest.mark.parametrize("length", [0.2, 0.3, 0.4, 0.5, 0.8, 1.5])
    def test_has_that_length(self, length):
        own = branch(BENT).with_length(np.array([length]))
        assert_allclose(own.length, [length], rtol=1e-14)

    def test_a_saw_drops_what_lies_beyond(self):
        cut = branch(BENT).with_length(np.array([0.35]))
        assert [p.bend_radius for p in cut.pieces[0]] == [math.inf, 0.1]
        assert_allclose(cut.pieces[0][1].length, 0.05, rtol=1e-12)

    def test_cut_at_a_joint_leaves_no_empty_piece(self):
        assert branch(BENT).with_length(np.array([0.3])).pieces[0] == (Piece(0.3),)

    def test_a_straight_end_grows(self):
        grown = branch(BENT).with_length(np.array([1.0]))
        assert len(grown.pieces[0]) == 3
        assert grown.pieces[0][1] == BENT[1]

    def test_behind_a_bend_a_straight_is_added(self):
        grown = branch(BENT[:2]).with_length(np.array([1.0]))
        assert [p.bend_radius for p in grown.pieces[0]] == [math.inf, 0.1, math.inf]

    def test_too_short_is_refused(self):
        with pytest.raises(GeometryError):
            branch(BENT).with_length(np.array([0.05]))

    def test_else_nothing_changes(self):
        own = branch(BENT, rise=0.3)
        again = own.with_length(own.length)
        assert again.rise[0] == 0.3
        assert again.cap_thickness[0] == own.cap_thickness[0]
        assert_allclose([p.length for p in again.pieces[0]], [p.length for p in BENT], rtol=1e-14)


class TestTake:
    """What is worked out once of the centre-lines goes along with the designs."""

    @pytest.fixture
    def branch(self):
        elbow = (Piece(0.3), Piece.bend(math.pi / 2, 0.08), Piece(0.2))
        return Branch(
            np.full(3, 0.05), np.full(3, 0.0015), np.full(3, 0.002),
            ((Piece(0.8),), elbow, (Piece(0.4), Piece.bend(1.0, 0.1, tube=Tube(0.04, 0.001)))),
            np.zeros(3),
        )  # fmt: skip

    @pytest.mark.parametrize(
        "index", [slice(1, None), np.array([2, 0]), np.array([True, False, True]), [0]]
    )
    def test_the_same_as_worked_out_anew(self, branch, index):
        assert branch.laid[0].shape == branch.laid[1].shape == branch.tubes[1].shape == (3, 3)
        assert len(branch.length) == 3
        part = branch.take(index)
        assert {"length", "laid", "tubes"} <= part.__dict__.keys()
        anew = Branch(
            part.outside_diameter, part.wall_thickness, part.cap_thickness, part.pieces, part.rise
        )
        assert_allclose(part.length, anew.length, rtol=0)
        for got, expected in zip(part.laid + part.tubes, anew.laid + anew.tubes, strict=True):
            assert_array_equal(got, expected)  # no wider than the longest that is left

    def test_nothing_is_worked_out_for_it(self, branch):
        assert not {"length", "laid"} & branch.take(np.array([1])).__dict__.keys()
