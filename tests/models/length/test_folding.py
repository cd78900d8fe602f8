"""Folds have the length asked for and fit, by their own outlines."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from warmbranch.length.folding import GAP, PROPOSALS, Run, Stack, TubeToFold, folds, serpentine
from warmbranch.length.outline import Space, outline

TUBE = TubeToFold(0.0483, 0.002, 0.0725, 0.0015)


def test_room_enough_needs_no_fold():
    (first, *_) = folds(TUBE, 1.2, Space(width=2.0, depth=2.0, height=0.3))
    assert first.passes == 0
    assert first.pipework.bends == 0


def test_no_room():
    assert folds(TUBE, 1.2, Space(width=0.2, depth=0.2, height=0.1)) == []


def test_by_hand():
    """One pass along the pipe: stub, R and half the tube deep; the rest long."""
    (only,) = folds(TUBE, 1.2, Space(width=1.2, depth=0.16, height=0.05))
    assert (only.passes, only.run) == (1, Run.ALONG)
    stub = only.pipework.pieces[0].length
    box = only.outline.envelope
    assert_allclose(box.depth, stub + 0.0725 + 0.0483 / 2, atol=1e-5)
    run = 1.2 - stub - math.pi / 2 * 0.0725
    assert_allclose(box.width, 0.0483 / 2 + 0.0725 + run + 0.002, atol=1e-5)


@settings(max_examples=60, deadline=None)
@given(
    length=st.floats(0.5, 2.8),
    width=st.floats(0.1, 1.5),
    depth=st.floats(0.1, 1.0),
    height=st.floats(0.06, 0.6),
)
def test_all_that_is_proposed_is_true(length, width, depth, height):
    space = Space(width=width, depth=depth, height=height)
    found = folds(TUBE, length, space)
    assert len(found) <= PROPOSALS
    assert [f.pipework.bends for f in found] == sorted(f.pipework.bends for f in found)
    for fold in found:
        assert_allclose(fold.pipework.length, length, rtol=1e-12)
        again = outline(fold.pipework, 0.0, TUBE.outside_diameter, TUBE.cap_thickness)
        assert space.holds(again.envelope)
        assert not again.crosses_itself
        if fold.passes:
            # All but the stub keeps clear of the main pipe's wall.
            behind = again.points[again.along > fold.pipework.pieces[0].length + 1.2 * 0.0725]
            assert behind[:, 0].min() - TUBE.outside_diameter / 2 >= GAP + TUBE.main_wall - 1e-9


@pytest.mark.parametrize("run", list(Run))
@pytest.mark.parametrize("stack", list(Stack))
@pytest.mark.parametrize("passes", [2, 3, 4])
def test_passes_are_parallel(run, stack, passes):
    pipework = serpentine(TUBE, 2.5, passes, run, stack)
    assert pipework is not None
    laid = outline(pipework, 0.0, TUBE.outside_diameter, TUBE.cap_thickness)
    axis = 1 if run is Run.ALONG else 2
    sign = 1 if passes % 2 else -1
    assert_allclose(laid.tangents[-1][axis], sign, atol=1e-12)
    box = laid.envelope
    wide = {
        (Run.ALONG, Stack.AWAY): box.depth,
        (Run.UP, Stack.AWAY): box.depth,
        (Run.ALONG, Stack.BESIDE): box.height,
        (Run.UP, Stack.BESIDE): box.width,
    }[run, stack]
    beside = 2 * TUBE.bend_radius * (passes - 1)
    first = pipework.pieces[0].length + TUBE.bend_radius if stack is Stack.AWAY else 0.0
    half = TUBE.outside_diameter / 2
    ends = half if stack is Stack.AWAY else 2 * half
    assert_allclose(wide, first + beside + ends, atol=1e-5)


def test_a_branch_too_short_for_its_bends():
    assert serpentine(TUBE, 0.3, 2, Run.ALONG, Stack.AWAY) is None
