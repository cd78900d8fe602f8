"""The angle at which a branch stands on its main pipe."""

from __future__ import annotations

import copy

from shared.requests import CASE
from warmbranch_service.length.answer import answer_length
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.steady.answer import steady
from warmbranch_service.steady.request import SteadyRequest


def standing(angle):
    case = copy.deepcopy(CASE)
    if angle is not None:
        case["branch"]["mouth_angle_deg"] = angle
    return case


def test_square_is_as_before():
    square, silent = (
        steady(SteadyRequest.model_validate({"case": standing(angle)})) for angle in (90, None)
    )
    assert square.model_dump() == silent.model_dump()
    assert "leaning_mouth" not in [caution.code for caution in square.cautions]


def test_a_lean_is_cautioned_with_its_size_and_widens_the_interval():
    square, lean = (
        steady(SteadyRequest.model_validate({"case": standing(angle)})) for angle in (90, 45)
    )
    assert lean.resonance == square.resonance
    (told,) = [c for c in lean.cautions if c.code == "leaning_mouth"]
    assert "45° downstream" in told.message
    assert "1 to 3 %" in told.message
    assert told.field == "case.branch.mouth_angle_deg"
    wide, narrow = (
        found.prediction.quiet_rpm.interval_90[1] - found.prediction.quiet_rpm.interval_90[0]
        for found in (lean, square)
    )
    assert wide > 1.05 * narrow
    (other,) = [
        c
        for c in steady(SteadyRequest.model_validate({"case": standing(120)})).cautions
        if c.code == "leaning_mouth"
    ]
    assert "30° upstream" in other.message


def test_the_cut_list_copes_at_the_angle():
    request = {"case": standing(60), "target": {"quiet_rpm": 2350}}
    answer = answer_length(LengthRequest.model_validate(request))
    assert "at 60°" in answer.cut_list[0].instruction
    square = answer_length(LengthRequest.model_validate(request | {"case": standing(90)}))
    assert answer.outline.saddle_mm > square.outline.saddle_mm
    assert answer.outline.envelope.width_mm > square.outline.envelope.width_mm
