"""Refusals that concern more than one value: fields, lengths, ranges, numbers that are none."""

from __future__ import annotations

import json

import pytest


def test_unknown_field_names_its_neighbours(refused, van, put):
    entry, _ = refused(put(van, "case.branch.wall_thicknes_mm", 1.5))
    assert entry["pointer"] == "/case/branch/wall_thicknes_mm"
    assert entry["code"] == "unknown_field"
    assert entry["value"] == 1.5
    assert entry["remedy"].startswith("Did you mean wall_thickness_mm? Fields here are: outside_")


def test_unknown_field_inside_a_union_names_the_union_s_fields(refused, van, put):
    given = {"model": "fixed", "diffusivity_m2_s": 0.02, "reach": 3}
    entry, _ = refused(put(van, "case.closures.mixing", given))
    assert entry["pointer"] == "/case/closures/mixing/reach"
    assert "Did you mean reach_bores?" in entry["remedy"]


def test_missing_field(refused, van):
    del van["case"]["main_pipe"]["outside_diameter_mm"]
    entry, _ = refused(van)
    assert entry["pointer"] == "/case/main_pipe/outside_diameter_mm"
    assert (entry["code"], entry["value"], entry["unit"]) == ("missing", None, "mm")
    assert entry["remedy"] == "Give outside_diameter_mm, in mm."


def test_missing_number_of_a_fixed_closure(refused, van, put):
    entry, _ = refused(put(van, "case.closures.outer_film", {"model": "fixed"}))
    assert entry["pointer"] == "/case/closures/outer_film/coefficient_W_m2K"
    assert (entry["code"], entry["unit"]) == ("missing", "W/m2K")


def test_all_that_is_wrong_is_said_at_once(refused, van, put):
    put(van, "case.branch.outside_diameter_mm", -1)
    put(van, "case.main_pipe.gas_temperature_degC", "hot")
    _, problem = refused(van)
    assert [entry["field"] for entry in problem["errors"]] == [
        "case.branch.outside_diameter_mm",
        "case.main_pipe.gas_temperature_degC",
    ]
    assert problem["detail"].endswith("(1 more in errors.)")


@pytest.mark.parametrize("length", [130, "5 in"])
def test_shorter_than_three_bores(refused, smallest, put, length):
    entry, _ = refused(put(smallest, "case.branch.length_mm", length))
    assert entry["field"] == "case.branch.length_mm"
    assert (entry["code"], entry["unit"]) == ("length_out_of_range", "mm")
    assert entry["value"] == (130 if length == 130 else 127)
    assert "three bores (135.9 mm)" in entry["detail"]  # 3 × (48.3 − 2 × 1.5)
    assert entry["remedy"] == "Give a length from 135.9 to 6000 mm."


def test_three_bores_exactly_are_admitted(steady, smallest, put):
    assert steady(put(smallest, "case.branch.length_mm", 135.9))["centreline_length_mm"] == 135.9


@pytest.mark.parametrize("length", [15 * (1 - 5e-10), "0.59055118085 in", "1.4999999994 cm"])
def test_three_bores_rounded_are_admitted_by_the_physics_too(steady, smallest, put, length):
    put(smallest, "case.branch.outside_diameter_mm", 15)
    put(smallest, "case.branch.wall_thickness_mm", 5)
    steady(put(smallest, "case.branch.length_mm", length))


def test_centreline_longer_than_six_metres(refused, van, put):
    entry, _ = refused(put(van, "case.branch.centreline.0.straight_mm", 5050))
    assert entry["field"] == "case.branch.centreline"
    assert entry["code"] == "length_out_of_range"


def test_length_given_twice_and_nowhere(refused, van, put):
    entry, _ = refused(put(van, "case.branch.length_mm", 800))
    assert (entry["field"], entry["code"]) == ("case.branch.length_mm", "length_given_twice")
    del van["case"]["branch"]["centreline"], van["case"]["branch"]["length_mm"]
    entry, _ = refused(van)
    assert (entry["field"], entry["code"]) == ("case.branch.length_mm", "no_length")


@pytest.mark.parametrize(("wall", "thickest"), [(12, "5"), ("0.3 in", "5"), (5.01, "5")])
def test_a_main_pipe_of_wall_alone(refused, smallest, put, wall, thickest):
    """15 mm of tube with 12 mm of wall has a bore of less than nothing."""
    put(smallest, "case.main_pipe.outside_diameter_mm", 15)
    entry, _ = refused(put(smallest, "case.main_pipe.wall_thickness_mm", wall))
    assert (entry["field"], entry["code"]) == ("case.main_pipe.wall_thickness_mm", "no_bore")
    assert entry["remedy"].startswith(f"Give a wall of at most {thickest} mm")


def test_a_narrow_main_pipe_is_admitted(steady, smallest, put):
    put(smallest, "case.main_pipe.outside_diameter_mm", 15)
    put(smallest, "case.main_pipe.mass_flow_kg_h", 2)
    steady(put(smallest, "case.main_pipe.wall_thickness_mm", 5))


def test_surface_and_emissivity_exclude_each_other(refused, van, put):
    entry, _ = refused(put(van, "case.branch.emissivity", 0.3))
    assert entry["field"] == "case.branch.emissivity"
    assert (entry["code"], entry["value"]) == ("surface_given_twice", 0.3)
    van["case"]["branch"].update(surface=None, emissivity=None)
    entry, _ = refused(van)
    assert entry["code"] == "no_surface"


def test_shares_must_sum_to_one(refused, van, put):
    gas = {"mole_fractions": {"N2": 0.5, "O2": 0.2}}
    entry, _ = refused(put(van, "case.main_pipe.gas", gas))
    assert entry["field"] == "case.main_pipe.gas.mole_fractions"
    assert entry["detail"] == "The mole fractions sum to 0.7, not to 1."


def test_unknown_gas(refused, van, put):
    gas = {"mole_fractions": {"N2": 0.5, "Xe": 0.5}}
    entry, _ = refused(put(van, "case.main_pipe.gas", gas))
    assert entry["field"] == "case.main_pipe.gas.mole_fractions.Xe"
    assert entry["code"] == "unknown_name"


def test_one_angle_a_cylinder(refused, van, put):
    entry, _ = refused(put(van, "case.engine.firing_angles_deg", [0, 180]))
    assert entry["field"] == "case.engine.firing_angles_deg"
    assert entry["detail"] == "2 firing angles are given for 4 cylinders."


FLOW = "main_pipe.mass_flow_kg_h"


@pytest.mark.parametrize(
    ("guessed", "field", "code", "value", "unit", "remedy"),
    [
        (["main_pipe.gas"], "[0]", "unknown_name", "main_pipe.gas", None, FLOW),
        ([FLOW, FLOW], "[1]", "guessed_twice", FLOW, None, "each field once"),
        (
            ["branch.wrap.conductivity_W_mK"], "[0]", "nothing_to_guess",
            "branch.wrap.conductivity_W_mK", None, "leave it out of guessed",
        ),
        (
            [{"field": FLOW, "standard_deviation": 0}], "[0].standard_deviation",
            "not_a_deviation", 0, None, "above 0",
        ),
        (
            [{"field": FLOW, "standard_deviation": 200}], "[0].standard_deviation",
            "deviation_too_wide", 200, "kg/h", "at most 95 kg/h",
        ),
        (
            [{"field": "main_pipe.gas_temperature_degC", "standard_deviation": 400}],
            "[0].standard_deviation", "deviation_too_wide", 400, "K", "at most 300 K",
        ),
    ],
)  # fmt: skip
def test_guesses_that_are_none(refused, van, put, guessed, field, code, value, unit, remedy):
    entry, _ = refused(put(van, "case.guessed", guessed))
    assert entry["field"] == f"case.guessed{field}"
    assert (entry["code"], entry["value"], entry["unit"]) == (code, value, unit)
    assert remedy in entry["remedy"]


def test_still_air_has_no_spread_of_its_own(refused, smallest, put):
    guess = {"field": "surroundings.air_speed_m_s", "standard_deviation": 1}
    entry, _ = refused(put(smallest, "case.guessed", [guess]))
    assert entry["code"] == "deviation_too_wide"
    assert entry["remedy"].startswith("Leave it out.")


def test_rpm_range_without_engine(refused, smallest, put):
    put(smallest, "attenuation", {"rpm_from": 1000, "rpm_to": 3000})
    entry, _ = refused(smallest)
    assert (entry["field"], entry["code"]) == ("attenuation.rpm_from", "no_engine")


def test_falling_range(refused, van, put):
    put(van, "attenuation", {"frequency_from_Hz": 100, "frequency_to_Hz": 100})
    entry, _ = refused(van)
    assert (entry["field"], entry["code"]) == ("attenuation.frequency_to_Hz", "range_falls")


def test_engine_that_makes_too_much_gas(refused, van, put):
    del van["case"]["main_pipe"]["mass_flow_kg_h"]
    van["case"]["engine"].update(displacement_L=100, rpm=30000, volumetric_efficiency=1)
    entry, _ = refused(van)
    assert entry["field"] == "case.engine.displacement_L"
    assert (entry["code"], entry["unit"]) == ("mass_flow_out_of_range", "L")


def test_a_flow_faster_than_sound(refused, steady, van, put):
    """What the remedy names is admitted, with a caution."""
    entry, _ = refused(put(van, "case.main_pipe.mass_flow_kg_h", 5000))
    assert entry["field"] == "case.main_pipe.mass_flow_kg_h"
    assert (entry["code"], entry["unit"]) == ("mass_flow_out_of_range", "kg/h")
    assert "times the speed of sound" in entry["detail"]
    most = entry["remedy"].split()[3]
    assert "e" not in most
    assert 500 < float(most) < 5000
    answer = steady(put(van, "case.main_pipe.mass_flow_kg_h", float(most)))
    assert "mach_number" in {caution["code"] for caution in answer["cautions"]}


def test_an_engine_that_drives_its_gas_faster_than_sound(refused, van, put):
    del van["case"]["main_pipe"]["mass_flow_kg_h"]
    van["case"]["engine"].update(displacement_L=60, rpm=8000, volumetric_efficiency=1)
    entry, _ = refused(van)
    assert entry["field"] == "case.engine.displacement_L"
    assert "times the speed of sound" in entry["detail"]


@pytest.mark.parametrize(
    ("text", "code", "value"),
    [
        ("NaN", "not_finite", "nan"),
        ("Infinity", "not_finite", "inf"),
        ("-Infinity", "not_finite", "-inf"),
        ("1e999", "not_finite", "inf"),
        ("1" + "0" * 400, "not_finite", "huge"),
        ("1" + "0" * 30, "out_of_range", "1.000000e+30"),
    ],
)
def test_no_number_at_all(client, van, text, code, value):
    van["case"]["branch"]["wall_thickness_mm"] = 8765.5
    body = json.dumps(van).replace("8765.5", text)
    response = client.post("/v1/steady", content=body, headers={"content-type": "application/json"})
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert entry["field"] == "case.branch.wall_thickness_mm"
    assert (entry["code"], entry["value"], entry["unit"]) == (code, value, "mm")


@pytest.mark.parametrize("body", ["[]", "5", "null", '"x"'])
def test_body_that_is_no_object(client, body):
    headers = {"content-type": "application/json"}
    response = client.post("/v1/steady", content=body, headers=headers)
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert entry["pointer"] == ""
    assert "JSON object" in entry["remedy"]


@pytest.mark.parametrize(
    ("where", "value", "field", "code"),
    [
        ("case.branch.material", "\ud800", "case.branch.material", "not_unicode"),
        ("case.branch.mat\ud800", "x", "case.branch.mat\\ud800", "not_unicode"),
    ],
)
def test_half_a_character_does_not_come_back(client, van, put, where, value, field, code):
    put(van, where, value)
    headers = {"content-type": "application/json"}
    response = client.post("/v1/steady", content=json.dumps(van), headers=headers)
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert (entry["field"], entry["code"]) == (field, code)
    assert "\\ud800" in entry["value"]


def test_gas_colder_than_air_is_answered_with_a_caution(steady, smallest, put):
    put(smallest, "case.main_pipe.gas_temperature_degC", -20)
    answer = steady(smallest)
    caution = next(c for c in answer["cautions"] if c["code"] == "mouth_colder_than_air")
    assert caution["field"] == "case.main_pipe.gas_temperature_degC"
    assert "-20 °C" in caution["message"]
    assert "20 °C" in caution["message"]
    assert answer["heat"]["entering_W"] < 0
