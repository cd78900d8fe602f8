"""The answer to a length: what it holds, and that its parts agree with each other."""

from __future__ import annotations

import copy
import json
import math
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch_service.length.examples import EXAMPLES, example, example_text

FIXTURES = Path(__file__).parents[3] / "fixtures" / "requests"
FILES = {"length": "length_van.json", "loudness": "length_van_loudness.json"}


def with_length(case, answer, length=None):
    """The case with a straight branch... of the answer's length, its bends kept."""
    body = json.loads(json.dumps(case))
    line = body["branch"]["centreline"]
    total = answer["centreline_length_mm"] if length is None else length
    bent = math.radians(90) * 72
    line[-1]["straight_mm"] = total - 180 - bent
    return body


@pytest.mark.parametrize("name", list(EXAMPLES))
def test_examples_are_the_fixtures(name):
    assert (FIXTURES / FILES[name]).read_text(encoding="utf-8") == example_text(name)
    assert "van" in EXAMPLES[name][1]


def test_length_and_steady_agree_both_ways(ask, length, steady):
    answer = length(ask)
    again = steady({"case": with_length(ask["case"], answer)})
    # Frequencies are told to 0.001 Hz; the physics itself is held to a millionth elsewhere.
    assert_allclose(
        again["resonance"]["frequency_Hz"][0], answer["target"]["frequency_Hz"], atol=1.1e-3
    )
    assert_allclose(again["resonance"]["quiet_rpm"], 2350.0, atol=0.06)
    assert_allclose(again["centreline_length_mm"], answer["centreline_length_mm"], atol=0.006)


def test_rpm_and_hertz_are_the_same_target(ask, length):
    by_rpm = length(ask)
    ask["target"] = {"frequency_Hz": 2350 * 2 / 60}
    by_tone = length(ask)
    for name in ("centreline_length_mm", "build_length_mm", "trim_steps", "rpm_per_mm"):
        assert by_rpm[name] == by_tone[name]


def test_the_parts_of_the_length_add_up(van_answer):
    parts = van_answer["contributions_mm"]
    # Six numbers to 0.01 each.
    assert_allclose(sum(parts.values()), van_answer["centreline_length_mm"], atol=0.04)
    assert parts["one_temperature_rule_mm"] == van_answer["one_temperature_length_mm"]
    assert van_answer["transit_time_length_mm"] < van_answer["centreline_length_mm"]


def test_it_is_built_long(van_answer):
    right, build = van_answer["centreline_length_mm"], van_answer["build_length_mm"]
    low, high = van_answer["right_length_90_mm"]
    assert low < right < high
    assert build >= right + van_answer["allowance_mm"]
    assert van_answer["chance_too_short"] <= 0.05
    assert van_answer["certainty"] == "prior"


def test_trim_steps_lead_past_the_right_length(van_answer, steady):
    steps = van_answer["trim_steps"]
    assert steps[0]["cut_mm"] == 0
    assert_allclose(steps[0]["length_mm"], van_answer["build_length_mm"], atol=0.01)
    lengths = np.array([step["length_mm"] for step in steps])
    rpm = np.array([step["quiet_rpm"] for step in steps])
    assert lengths[-1] < van_answer["centreline_length_mm"] < lengths[0]
    assert np.all(np.diff(rpm) > 0)
    # The right length has the target, by interpolation over 5 mm.
    assert_allclose(
        np.interp(van_answer["centreline_length_mm"], lengths[::-1], rpm[::-1]), 2350, atol=0.2
    )
    case = example("length")["case"]
    for step in (steps[0], steps[-1]):
        again = steady({"case": with_length(case, van_answer, step["length_mm"])})
        assert_allclose(again["resonance"]["quiet_rpm"], step["quiet_rpm"], atol=0.11)


def test_sensitivity_is_the_tables_own_slope(van_answer):
    steps = van_answer["trim_steps"]
    right = van_answer["centreline_length_mm"]
    after = next(i for i, step in enumerate(steps) if step["length_mm"] < right)
    one, two = steps[after - 1], steps[after]
    slope = (two["quiet_rpm"] - one["quiet_rpm"]) / (two["length_mm"] - one["length_mm"])
    # rpm told to 0.1 over 5 mm.
    assert_allclose(van_answer["rpm_per_mm"], slope, atol=0.05)
    assert_allclose(van_answer["Hz_per_mm"] * 30, van_answer["rpm_per_mm"], rtol=1e-3)


def test_cut_list_measures_on_the_centre_line(van_answer):
    cuts = van_answer["cut_list"]
    assert [cut["kind"] for cut in cuts] == ["straight", "bend", "straight"]
    assert_allclose(
        sum(cut["centreline_mm"] for cut in cuts), van_answer["build_length_mm"], atol=0.15
    )
    assert [cut["takes_the_length"] for cut in cuts] == [False, False, True]
    bend = cuts[1]
    # By hand: π/2 × 72 and π/2 × (72 ∓ 24.15).
    assert [bend[name] for name in ("centreline_mm", "inside_mm", "outside_mm")] == [
        113.1,
        75.2,
        151.0,
    ]
    # By hand: the tube stands on the outside, 1.5 mm out, and is coped 30.15 − √(30.15² − 24.15²).
    assert_allclose(cuts[0]["tube_mm"], 180 - 1.5 + 12.1, atol=0.11)
    assert "mark" in cuts[-1]["instruction"]


def test_masses_by_hand(van_answer):
    """304: 7900 kg/m³ × π/4 (48.3² − 45.3²) mm² × length."""
    section = math.pi / 4 * (48.3**2 - 45.3**2) * 1e-6
    mass = 7900 * section * van_answer["build_length_mm"] * 1e-3
    assert_allclose(van_answer["outline"]["tube_mass_kg"], mass, rtol=5e-3)  # three digits


def test_envelope_by_hand(van_answer):
    box = van_answer["outline"]["envelope"]
    last = van_answer["build_length_mm"] - 180 - math.pi / 2 * 72
    assert_allclose(box["depth_mm"], 180 + 72 + 24.15, atol=0.1)
    assert_allclose(box["width_mm"], 24.15 + 72 + last + 1.5, atol=0.2)
    assert box["height_mm"] == 48.3


def test_folds_fit_and_can_be_sent_back(van_answer, length):
    assert van_answer["outline"]["fits"] is False
    assert 2 <= len(van_answer["folds"]) <= 3
    body = example("length")
    for fold in van_answer["folds"]:
        box = fold["envelope"]
        assert box["width_mm"] <= 900
        assert box["depth_mm"] <= 300
        assert box["height_mm"] <= 220
        body["case"]["branch"]["centreline"] = fold["centreline"]
        again = length(body)
        # The folding's own length, worked out anew from what was proposed.
        assert_allclose(again["centreline_length_mm"], fold["centreline_length_mm"], atol=0.2)
        assert again["outline"]["fits"] is True
        assert again["folds"] == []


def test_drawings_are_plain_svg(van_answer):
    drawings = [van_answer["outline"]["drawing"], *(f["drawing"] for f in van_answer["folds"])]
    for drawing in drawings:
        for view in ("plan_svg", "side_svg"):
            root = ElementTree.fromstring(drawing[view])
            assert root.tag == "{http://www.w3.org/2000/svg}svg"
            kinds = {element.tag.rpartition("}")[2] for element in root.iter()}
            assert kinds <= {"svg", "title", "rect", "circle", "path", "text"}
            assert root.attrib["width"].endswith("mm")


def test_notch_and_its_neighbours(van_answer):
    own, *others = van_answer["diameters"]
    assert own["widths"] == van_answer["notch"]["widths"]
    assert len(others) == 2
    smaller, larger = others
    for width, narrow, wide in zip(own["widths"], smaller["widths"], larger["widths"], strict=True):
        assert narrow["width_rpm"] < width["width_rpm"] < wide["width_rpm"]
        assert width["from_rpm"] < 2350 < width["to_rpm"]
    assert "narrower" in smaller["trade_off"]
    assert "more weight" in larger["trade_off"]
    loss = van_answer["notch"]["transmission_loss_dB"]
    assert max(loss) == loss[len(loss) // 2]


def test_place_warns_of_the_node_and_tells_better_places(van_answer):
    place = van_answer["place"]
    assert place["near_node"] is True
    assert "near_pressure_node" in {caution["code"] for caution in van_answer["cautions"]}
    best = place["better"][0]
    assert 600 <= best["place"]["position_mm"] <= 3000
    assert best["place"]["band_insertion_loss_dB"] > place["here"]["band_insertion_loss_dB"] + 10
    assert min(abs(2900 - node) for node in place["nodes_mm"]) < 100


def test_cautions_have_numbers(van_answer):
    said = {caution["code"]: caution["message"] for caution in van_answer["cautions"]}
    for code in (
        "cap_seal",
        "leak_heat",
        "clearance_and_support",
        "slope_and_drain",
        "does_not_fit",
    ):
        assert any(character.isdigit() for character in said[code]), code
    assert "safety_law" in said
    assert "whistling" in said


def test_what_is_not_asked_for_is_not_there(ask, length):
    answer = length({**ask, "diameters": False})
    assert answer["diameters"] == []
    for name in ("place", "two_branches", "loudness"):
        assert answer[name] is None
    assert answer["outline"]["fits"] is None
    assert answer["folds"] == []


def test_without_an_engine(smallest, length):
    smallest["case"]["branch"]["rise_deg"] = 90
    answer = length({"case": smallest["case"], "target": {"frequency_Hz": 90}})
    assert answer["rpm_per_mm"] is None
    assert answer["target"]["quiet_rpm"] is None
    assert all(step["quiet_rpm"] is None for step in answer["trim_steps"])
    assert "Hz" in answer["summary"]
    # Straight up from the mouth: nothing bends the weld, and no rounding is told for it.
    said = " ".join(caution["message"] for caution in answer["cautions"])
    assert "in line with the mouth" in said
    assert not re.search(r"\de[-+]\d", said)


def test_a_length_in_place_of_a_centre_line(ask, length):
    del ask["case"]["branch"]["centreline"]
    ask["case"]["branch"]["length_mm"] = 500
    answer = length(ask)
    (only,) = answer["cut_list"]
    assert only["kind"] == "straight"
    assert answer["contributions_mm"]["bends_mm"] == 0


def test_road_speed_by_hand(ask, length):
    """110 km/h, 205/55 R16, 0.80 × 4.06: 3090 rpm; see the physics' own test."""
    ask["target"] = {
        "road_speed_m_s": "110 km/h",
        "gear_ratio": 0.80,
        "final_drive_ratio": 4.06,
        "tyre": "205/55 R16 91V",
    }
    answer = length(ask)
    assert_allclose(answer["target"]["quiet_rpm"], 3090, atol=1)
    assert any("110 km/h" in said for said in answer["assumptions"])
    ask["target"] |= {"tyre": None, "rolling_circumference_mm": 1927.3}
    assert_allclose(length(ask)["target"]["quiet_rpm"], 3090, atol=1)


def test_a_calibration_narrows_the_range(ask, length, van_answer):
    names = ["tone", "buoyancy"]
    ask["case"]["closures"] = {
        "calibration": {
            "version": 2,
            "model_version": "0.1.0",
            "unknowns": names,
            "mean": [0.0, math.log(1.1)],  # the model's own
            "covariance": [[1e-6, 0.0], [0.0, 0.01]],
        }
    }
    answer = length(ask)
    assert answer["certainty"] == "calibration"
    low, high = answer["right_length_90_mm"]
    wide_low, wide_high = van_answer["right_length_90_mm"]
    assert high - low < 0.3 * (wide_high - wide_low)
    assert answer["build_length_mm"] < van_answer["build_length_mm"]
    assert_allclose(answer["centreline_length_mm"], van_answer["centreline_length_mm"], atol=0.01)


def test_allowances_and_steps(ask, length):
    ask["build"] = {"weld_allowance_mm": 0, "cap_allowance_mm": 0, "trim_step_mm": 10}
    bare = length(ask)
    ask["build"] = {"weld_allowance_mm": 6, "cap_allowance_mm": 4, "trim_step_mm": 10}
    room = length(ask)
    assert_allclose(room["build_length_mm"] - bare["build_length_mm"], 10, atol=0.11)
    assert bare["trim_steps"][1]["cut_mm"] == 10


def test_less_chance_more_length(ask, length):
    built = []
    for percent in (20, 5, 1):
        ask["build"] = {"chance_too_short_percent": percent}
        answer = length(ask)
        assert answer["chance_too_short"] <= percent / 100
        built.append(answer["build_length_mm"])
    assert built[0] < built[1] < built[2]


@pytest.mark.parametrize("target", [{"frequency_Hz": 500}, {"frequency_Hz": 120}])
def test_neighbours_of_a_short_branch_of_tight_bends(smallest, length, target):
    """Their bends scale with the tube, whatever length and bends were given."""
    tube = {"outside_diameter_mm": 60, "wall_thickness_mm": 1.5}
    tight = [{"straight_mm": 80}, {"bend_deg": 90, "bend_radius_mm": 31}, {"straight_mm": 60}]
    pipe = smallest["case"]["main_pipe"] | {"outside_diameter_mm": 76}
    case = {"branch": tube | {"centreline": tight}, "main_pipe": pipe}
    answer = length({"case": case, "target": target})
    assert len(answer["diameters"]) == 3


def test_where_the_search_begins_says_nothing_of_how_sure_it_is(length, smallest, put):
    """5 mm count for more in a short branch: in the one that is found, not in the one given."""
    target = {"frequency_Hz": 120}
    near, far = (
        length({**put(copy.deepcopy(smallest), "case.branch.length_mm", begun), "target": target})
        for begun in (830, 5000)
    )
    assert near["centreline_length_mm"] == pytest.approx(far["centreline_length_mm"], abs=0.05)
    assert near["right_length_90_mm"] == pytest.approx(far["right_length_90_mm"], abs=0.2)
