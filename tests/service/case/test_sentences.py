"""Every finding of the physics has its sentence."""

from __future__ import annotations

import ast
import inspect
import math

import pytest

from warmbranch.steady import cautions
from warmbranch.steady.cautions import Finding
from warmbranch_service.case.sentences import SAFETY, caution_of, cautions_of

EXAMPLES = {
    "condensation": (
        Finding(
            "condensation",
            {
                "dew_point": 323.15,
                "coldest_wall": 303.15,
                "from_position": 0.288,
                "heat_counted": 1.0,
            },
        ),
        ["288 mm", "30 °C", "50 °C", "as the gas dries"],
        "",
    ),
    "whistling": (
        Finding(
            "whistling",
            {"mode": 2.0, "frequency": 257.3, "strouhal": 0.47, "speed": 25.0},
            "main_pipe.mass_flow",
        ),
        ["Resonance 2 (257 Hz)", "0.47", "25 m/s"],
        "case.main_pipe.mass_flow_kg_h",
    ),
    "whistling_weak": (
        Finding(
            "whistling_weak",
            {"mode": 3.0, "frequency": 430.0, "strouhal": 0.8, "speed": 25.0},
            "main_pipe.mass_flow",
        ),
        ["Resonance 3 (430 Hz)", "0.80"],
        "case.main_pipe.mass_flow_kg_h",
    ),
    "material_limit": (
        Finding("material_limit", {"hottest_wall": 1173.15, "limit": 773.15}, "branch.material"),
        ["900 °C", "500 °C"],
        "case.branch.material",
    ),
    "mouth_colder_than_air": (
        Finding(
            "mouth_colder_than_air",
            {"gas_temperature": 263.15, "air_temperature": 293.15},
            "main_pipe.gas_temperature",
        ),
        ["-10 °C", "20 °C"],
        "case.main_pipe.gas_temperature_degC",
    ),
    "mouth_correction_range": (
        Finding("mouth_correction_range", {"radius_ratio": 1.3}, "closures.mouth_correction"),
        ["1.30"],
        "case.closures.mouth_correction",
    ),
    "mach_number": (
        Finding("mach_number", {"mach": 0.42, "speed": 210.0}, "main_pipe.mass_flow"),
        ["210 m/s", "Mach 0.42"],
        "case.main_pipe.mass_flow_kg_h",
    ),
    "plane_wave_limit": (
        Finding("plane_wave_limit", {"frequency": 2100.0, "cut_on": 1400.0}),
        ["2100 Hz", "1400 Hz"],
        "",
    ),
    "leak_sensitivity": (
        Finding("leak_sensitivity", {"relative_shift": 0.078, "hole_diameter": 1e-3}),
        ["1 mm", "7.8 %"],
        "",
    ),
    "overdamped": (Finding("overdamped", {"mode": 1.0}), ["number 1"], ""),
    "correlation_range": (
        Finding("correlation_range", {"main_pipe_reynolds": 6e6, "bound": 5e6}),
        ["main pipe's inner film", "6e+06, above 5e+06"],
        "",
    ),
    "short_piece": (
        Finding("short_piece", {"piece": 2.0, "length": 0.03, "bore": 0.045}, "branch.centreline"),
        ["Piece 2", "30 mm", "45 mm"],
        "case.branch.centreline",
    ),
    "leaning_mouth": (
        Finding(
            "leaning_mouth",
            {"lean": math.radians(-30), "least": 0.013, "most": 0.027},
            "branch.mouth_angle",
        ),
        ["30° upstream", "1.3 to 2.7 %"],
        "case.branch.mouth_angle_deg",
    ),
}


@pytest.mark.parametrize("code", list(EXAMPLES))
def test_sentence_holds_its_numbers(code):
    finding, words, field = EXAMPLES[code]
    caution = caution_of(finding)
    assert caution.code == code
    assert caution.field == field
    assert caution.message.endswith(".")
    for word in words:
        assert word in caution.message


def test_every_code_of_the_physics_is_known():
    """Codes are read off the source: the first argument of each Finding, or a pair's first."""
    text = {
        node.value
        for node in ast.walk(ast.parse(inspect.getsource(cautions)))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    direct = {
        call.args[0].value
        for call in ast.walk(ast.parse(inspect.getsource(cautions)))
        if isinstance(call, ast.Call)
        and isinstance(call.func, ast.Name)
        and call.func.id == "Finding"
        and isinstance(call.args[0], ast.Constant)
    }
    assert direct
    assert direct <= set(EXAMPLES)
    # And none is explained here that the physics no longer has.
    assert set(EXAMPLES) <= text


@pytest.mark.parametrize(
    ("name", "value", "bound", "words"),
    [
        ("rayleigh", 2e12, 1e12, "natural convection"),
        ("reynolds", 2e7, 1e7, "air across the branch"),
        ("inverse_peclet", 10.0, 5.0, "0.1, below 0.2"),
        ("other", 10.0, 5.0, "outside its range"),
    ],
)
def test_every_film_has_its_sentence(name, value, bound, words):
    finding = Finding("correlation_range", {name: value, "bound": bound})
    assert words in caution_of(finding).message


def test_code_of_tomorrow_still_reaches_the_user():
    finding = Finding("new_thing", {"some_speed": 12.0, "odd": float("nan")}, "branch.rise")
    caution = caution_of(finding)
    assert caution.message == "New thing: some speed 12 (SI units)."
    assert caution.field == "case.branch.rise"


def test_safety_comes_last_and_whole():
    found = cautions_of([EXAMPLES["overdamped"][0]])
    assert found[0].code == "overdamped"
    assert tuple(found[1:]) == SAFETY
    assert {caution.code for caution in SAFETY} == {
        "safety_hot_surfaces",
        "safety_carbon_monoxide",
        "safety_welding",
        "safety_fire",
        "safety_support",
        "safety_law",
    }
