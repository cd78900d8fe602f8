"""Pieces of other tubes, from a request to its answers."""

from __future__ import annotations

import copy
import json
import math

import pytest
from pydantic import ValidationError

from shared.readings import infrared
from shared.requests import ENGINE, PIPE, TUBE
from warmbranch.case.geometry import Tube
from warmbranch_service.case.convert import to_physics
from warmbranch_service.case.schema import Case
from warmbranch_service.fit.answer import answer_fit
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.length.answer import answer_length
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.steady.answer import steady
from warmbranch_service.steady.request import SteadyRequest
from warmbranch_service.warmup.answer import warmup
from warmbranch_service.warmup.request import WarmupRequest

STUB = {"straight_mm": 80, "outside_diameter_mm": 42.4}
CENTRELINE = [STUB, {"bend_deg": 90, "bend_radius_mm": 72}, {"straight_mm": 900}]
CASE = {"branch": TUBE | {"centreline": CENTRELINE}, "main_pipe": PIPE, "engine": ENGINE}


def changed(**first):
    case = copy.deepcopy(CASE)
    case["branch"]["centreline"][0] = {"straight_mm": 80} | first
    return case


def solved(case):
    return steady(SteadyRequest.model_validate({"case": case, "interval": False}))


def test_what_is_left_out_is_the_branchs():
    pieces = to_physics(Case.model_validate(CASE)).case.branch.pieces[0]
    assert pieces[0].tube == pytest.approx(Tube(0.0424, 0.0015))
    assert pieces[1].tube is None
    wall = to_physics(Case.model_validate(changed(wall_thickness_mm=3))).case.branch.pieces[0][0]
    assert wall.tube == pytest.approx(Tube(0.0483, 0.003))


def test_named_as_the_branchs_own_it_changes_nothing():
    """Exact limit: one bore everywhere."""
    named = solved(changed(outside_diameter_mm=48.3, wall_thickness_mm=1.5))
    plain = solved(changed())
    assert named.model_dump() == plain.model_dump()


def test_a_narrow_stub_lowers_the_tone_by_percents():
    stub, plain = solved(CASE), solved(changed())
    ratio = stub.resonance.quiet_rpm / plain.resonance.quiet_rpm
    assert 0.95 < ratio < 0.985  # 1.5 to 4 %, as was expected of a stub a size down
    assert stub.solver.loops == plain.solver.loops
    assert stub.heat.closure_error < 1e-8


def test_the_cut_list_says_which_tube():
    request = {"case": CASE, "target": {"quiet_rpm": 2350}}
    answer = answer_length(LengthRequest.model_validate(request))
    first, *rest = answer.cut_list
    assert (first.outside_diameter_mm, first.wall_thickness_mm) == (42.4, 1.5)
    assert all(piece.outside_diameter_mm == 48.3 for piece in rest)
    assert "42.4 mm outside" in first.instruction
    told = answer.contributions_mm.model_dump()
    assert math.isclose(sum(told.values()), answer.centreline_length_mm, abs_tol=0.05)
    assert told["bore_changes_mm"] < -5
    assert len(answer.diameters) <= 1  # a branch of several tubes has no one size to change
    widths = [
        float(part.split('"')[0])
        for part in answer.outline.drawing.plan_svg.split('stroke-width="')[1:]
    ]
    assert {42.4, 48.3} <= set(widths)


def test_the_warm_up_ends_where_the_branch_is_warm_and_has_bands():
    learned = {
        "version": 2,
        "model_version": "0.1.0",
        "unknowns": ["outer_film_factor"],
        "mean": [0.0],
        "covariance": [[0.01]],
    }
    request = {"case": CASE | {"closures": {"calibration": learned}}, "duration_min": 60}
    answer = warmup(WarmupRequest.model_validate(request))
    warm = answer.series.quiet_rpm[-1]
    assert math.isclose(warm, answer.warm_quiet_rpm, rel_tol=1e-3)
    low, high = answer.bands.quiet_rpm_interval_90[-1]
    assert low < warm < high


@pytest.mark.slow
def test_it_can_be_fitted():
    readings = [infrared(x, t, emissivity_set=0.95) for x, t in ((120, 110), (450, 40))]
    request = {"case": CASE, "readings": readings, "target_rpm": 2400}
    answer = answer_fit(FitRequest.model_validate(request))
    json.dumps(answer.model_dump())


def test_a_bend_is_held_to_its_own_tube():
    case = copy.deepcopy(CASE)
    case["branch"]["centreline"][1] |= {"outside_diameter_mm": 145}
    with pytest.raises(ValidationError, match=r"72\.5 mm"):
        Case.model_validate(case)


def test_a_piece_shorter_than_the_bore_beside_it_is_told():
    answer = solved(
        CASE
        | {
            "branch": CASE["branch"]
            | {
                "centreline": [
                    {"straight_mm": 20, "outside_diameter_mm": 42.4},
                    {"straight_mm": 1000},
                ]
            }
        }
    )
    assert "short_piece" in [caution.code for caution in answer.cautions]
    assert "short_piece" not in [caution.code for caution in solved(CASE).cautions]
