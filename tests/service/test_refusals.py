"""Every refusal names the field, the value, its unit and the remedy."""

from __future__ import annotations

import json

import pytest


def refused(client, body):
    """The single entry of a refusal, and the whole."""
    response = client.post("/v1/steady", json=body)
    assert response.status_code == 422, response.text
    assert response.headers["content-type"] == "application/problem+json"
    problem = response.json()
    assert problem["type"] == "/v1/problems/invalid-request"
    assert problem["status"] == 422
    assert problem["instance"] == "/v1/steady"
    assert problem["request_id"] == response.headers["x-request-id"]
    assert problem["errors"]
    for entry in problem["errors"]:
        assert set(entry) == {"pointer", "field", "value", "unit", "detail", "remedy", "code"}
        assert entry["detail"].endswith(".")
        assert entry["remedy"].endswith(".")
    return problem["errors"][0], problem


# where, what is given, code, value echoed, unit, words of detail and of remedy
WRONG = [
    (
        "case.branch.outside_diameter_mm",
        -48.3,
        ("out_of_range", -48.3, "mm"),
        "-48.3 mm lies outside",
        "from 15 to 150 mm",
    ),
    (
        "case.branch.outside_diameter_mm",
        0,
        ("out_of_range", 0, "mm"),
        "0 mm lies outside",
        "from 15 to 150 mm",
    ),
    (
        "case.branch.wall_thickness_mm",
        24.2,
        ("out_of_range", 24.2, "mm"),
        "24.2 mm lies outside",
        "from 0.5 to 5 mm",
    ),
    (
        "case.branch.outside_diameter_mm",
        "2.25 kg",
        ("wrong_unit", "2.25 kg", "mm"),
        '"kg" is not a unit of a length.',
        "mm, cm, m, in, inch, inches",
    ),
    (
        "case.branch.outside_diameter_mm",
        "2.25 m",
        ("out_of_range", "2.25 m", "mm"),
        '"2.25 m", 2250 mm, lies outside',
        "from 15 to 150 mm",
    ),
    (
        "case.branch.outside_diameter_mm",
        "thick",
        ("no_quantity", "thick", "mm"),
        "not a number and a unit",
        "or a string with one of the units mm",
    ),
    (
        "case.branch.outside_diameter_mm",
        "48.3",
        ("no_quantity", "48.3", "mm"),
        "not a number and a unit",
        "Give a number from 15",
    ),
    (
        "case.branch.outside_diameter_mm",
        "1e9999999 mm",
        ("wrong_unit", "1e9999999 mm", "mm"),
        '"e9999999 mm" is not a unit of a length.',
        "Give a number",
    ),
    (
        "case.branch.outside_diameter_mm",
        "1e999 mm",
        ("not_finite", "1e999 mm", "mm"),
        "NaN, infinity and overflow are no values.",
        "Give a number",
    ),
    (
        "case.branch.outside_diameter_mm",
        "__import__('os') mm",
        ("no_quantity", "__import__('os') mm", "mm"),
        "not a number and a unit",
        "Give a number",
    ),
    (
        "case.branch.outside_diameter_mm",
        True,
        ("not_a_number", True, "mm"),
        "must be a length",
        "Give a number from 15",
    ),
    (
        "case.branch.outside_diameter_mm",
        None,
        ("not_a_number", None, "mm"),
        "must be a length",
        "Give a number from 15",
    ),
    (
        "case.branch.outside_diameter_mm",
        {"value": 48.3, "unit": "mm"},
        ("not_a_number", None, "mm"),
        "must be a length",
        "Give a number from 15",
    ),
    (
        "case.branch.centreline",
        [],
        ("too_short", [], None),
        "The list has 0 entries.",
        "Give at least 1.",
    ),
    (
        "case.branch.centreline.1.bend_radius_mm",
        20,
        ("bend_too_tight", 20, "mm"),
        "tighter than the tube",
        "above 24.15 mm, half the outside diameter",
    ),
    (
        "case.branch.centreline.0",
        {"length": 3},
        ("no_piece", None, None),
        "neither a straight nor a bend",
        '{"straight_mm": …}',
    ),
    (
        "case.branch.centreline.0.straight_mm",
        0,
        ("out_of_range", 0, "mm"),
        "0 mm lies outside",
        "above 0 and at most 3000 mm",
    ),
    (
        "case.branch.material",
        "stainles 304",
        ("unknown_name", "stainles 304", None),
        "No material of that name",
        "Did you mean stainless 304?",
    ),
    (
        "case.branch.material",
        7,
        ("not_a_name", 7, None),
        "name of a material",
        "mild steel",
    ),
    (
        "case.main_pipe.gas_temperature_degC",
        "300 mm",
        ("wrong_unit", "300 mm", "degC"),
        '"mm" is not a unit of a temperature.',
        "degC, °C, C, degF, °F, F, K",
    ),
    (
        "case.main_pipe.gas_temperature_degC",
        "2000 F",
        ("out_of_range", "2000 F", "degC"),
        '"2000 F", 1093.33 degC, lies outside',
        "from -40 to 1000 degC",
    ),
    (
        "case.engine.cylinders",
        4.5,
        ("not_a_number", 4.5, None),
        "must be a whole number",
        "from 1 to 16",
    ),
    (
        "case.engine.cylinders",
        17,
        ("out_of_range", 17, None),
        "17 lies outside",
        "from 1 to 16",
    ),
    (
        "case.engine.cycle",
        "six-stroke",
        ("literal_error", "six-stroke", None),
        "none of the names known here",
        "'four-stroke' or 'two-stroke'",
    ),
    (
        "case.closures.mixing",
        {"model": "fixd", "diffusivity_m2_s": 0.02},
        ("unknown_model", None, None),
        "no such model",
        '"stirred mouth", "fixed"',
    ),
    (
        "case.closures.mixing",
        {"diffusivity_m2_s": 0.02},
        ("no_model", None, None),
        "not said which model",
        'Give "model"',
    ),
    (
        "case.closures.wall_losses",
        1,
        ("wrong_type", 1, None),
        "true or false",
        "true or false",
    ),
    (
        "case.surroundings.air_speed_m_s",
        "600 mph",
        ("out_of_range", "600 mph", "m/s"),
        '"600 mph", 268.224 m/s,',
        "from 0 to 60 m/s",
    ),
    ("case.surroundings", 5, ("wrong_type", 5, None), "a JSON object", "a JSON object"),
]


@pytest.mark.parametrize(
    ("where", "given", "echo", "detail", "remedy"),
    WRONG,
)
def test_wrong_value_is_named(client, van, put, where, given, echo, detail, remedy):
    code, value, unit = echo
    entry, problem = refused(client, put(van, where, given))
    assert len(problem["errors"]) == 1
    assert entry["pointer"] == "/" + where.replace(".", "/")
    plain = ""
    for part in where.split("."):
        plain += f"[{part}]" if part.isdigit() else f".{part}" if plain else part
    assert entry["field"] == plain
    assert entry["code"] == code
    assert entry["value"] == value
    assert isinstance(entry["value"], bool) == isinstance(value, bool)
    assert entry["unit"] in (unit, "1" if unit is None else unit)
    assert detail in entry["detail"]
    assert remedy in entry["remedy"]
    assert problem["detail"] == f"{plain}: {entry['detail']} {entry['remedy']}"


def test_exact_words_of_a_size_out_of_range(client, van, put):
    entry, problem = refused(client, put(van, "case.branch.wall_thickness_mm", "30 mm"))
    assert entry == {
        "pointer": "/case/branch/wall_thickness_mm",
        "field": "case.branch.wall_thickness_mm",
        "value": "30 mm",
        "unit": "mm",
        "detail": '"30 mm", 30 mm, lies outside what is admitted.',
        "remedy": "Give a number from 0.5 to 5 mm, or a string with one of the units "
        'mm, cm, m, in, inch, inches, ", ft.',
        "code": "out_of_range",
    }
    assert problem["title"] == "The request holds something impossible."


def test_unknown_field_names_its_neighbours(client, van, put):
    entry, _ = refused(client, put(van, "case.branch.wall_thicknes_mm", 1.5))
    assert entry["pointer"] == "/case/branch/wall_thicknes_mm"
    assert entry["code"] == "unknown_field"
    assert entry["value"] == 1.5
    assert entry["remedy"].startswith("Did you mean wall_thickness_mm? Fields here are: outside_")


def test_unknown_field_inside_a_union_names_the_union_s_fields(client, van, put):
    given = {"model": "fixed", "diffusivity_m2_s": 0.02, "reach": 3}
    entry, _ = refused(client, put(van, "case.closures.mixing", given))
    assert entry["pointer"] == "/case/closures/mixing/reach"
    assert "Did you mean reach_bores?" in entry["remedy"]


def test_missing_field(client, van):
    del van["case"]["main_pipe"]["gas_temperature_degC"]
    entry, _ = refused(client, van)
    assert entry["pointer"] == "/case/main_pipe/gas_temperature_degC"
    assert (entry["code"], entry["value"], entry["unit"]) == ("missing", None, "degC")
    assert entry["remedy"] == "Give gas_temperature_degC, in degC."


def test_missing_number_of_a_fixed_closure(client, van, put):
    entry, _ = refused(client, put(van, "case.closures.outer_film", {"model": "fixed"}))
    assert entry["pointer"] == "/case/closures/outer_film/coefficient_W_m2K"
    assert (entry["code"], entry["unit"]) == ("missing", "W/m2K")


def test_all_that_is_wrong_is_said_at_once(client, van, put):
    put(van, "case.branch.outside_diameter_mm", -1)
    put(van, "case.main_pipe.gas_temperature_degC", "hot")
    _, problem = refused(client, van)
    assert [entry["field"] for entry in problem["errors"]] == [
        "case.branch.outside_diameter_mm",
        "case.main_pipe.gas_temperature_degC",
    ]
    assert problem["detail"].endswith("(1 more in errors.)")


@pytest.mark.parametrize("length", [130, "5 in"])
def test_shorter_than_three_bores(client, smallest, put, length):
    entry, _ = refused(client, put(smallest, "case.branch.length_mm", length))
    assert entry["field"] == "case.branch.length_mm"
    assert (entry["code"], entry["unit"]) == ("length_out_of_range", "mm")
    assert entry["value"] == (130 if length == 130 else 127)
    assert "three bores (135.9 mm)" in entry["detail"]  # 3 × (48.3 − 2 × 1.5)
    assert entry["remedy"] == "Give a length from 135.9 to 3000 mm."


def test_three_bores_exactly_are_admitted(steady, smallest, put):
    assert steady(put(smallest, "case.branch.length_mm", 135.9))["centreline_length_mm"] == 135.9


def test_centreline_longer_than_three_metres(client, van, put):
    entry, _ = refused(client, put(van, "case.branch.centreline.0.straight_mm", 2000))
    assert entry["field"] == "case.branch.centreline"
    assert entry["code"] == "length_out_of_range"


def test_length_given_twice_and_nowhere(client, van, put):
    entry, _ = refused(client, put(van, "case.branch.length_mm", 800))
    assert (entry["field"], entry["code"]) == ("case.branch.length_mm", "length_given_twice")
    del van["case"]["branch"]["centreline"], van["case"]["branch"]["length_mm"]
    entry, _ = refused(client, van)
    assert (entry["field"], entry["code"]) == ("case.branch.length_mm", "no_length")


def test_surface_and_emissivity_exclude_each_other(client, van, put):
    entry, _ = refused(client, put(van, "case.branch.emissivity", 0.3))
    assert entry["field"] == "case.branch.emissivity"
    assert (entry["code"], entry["value"]) == ("surface_given_twice", 0.3)
    van["case"]["branch"].update(surface=None, emissivity=None)
    entry, _ = refused(client, van)
    assert entry["code"] == "no_surface"


def test_shares_must_sum_to_one(client, van, put):
    gas = {"mole_fractions": {"N2": 0.5, "O2": 0.2}}
    entry, _ = refused(client, put(van, "case.main_pipe.gas", gas))
    assert entry["field"] == "case.main_pipe.gas.mole_fractions"
    assert entry["detail"] == "The mole fractions sum to 0.7, not to 1."


def test_unknown_gas(client, van, put):
    gas = {"mole_fractions": {"N2": 0.5, "Xe": 0.5}}
    entry, _ = refused(client, put(van, "case.main_pipe.gas", gas))
    assert entry["field"] == "case.main_pipe.gas.mole_fractions.Xe"
    assert entry["code"] == "unknown_name"


def test_one_angle_a_cylinder(client, van, put):
    entry, _ = refused(client, put(van, "case.engine.firing_angles_deg", [0, 180]))
    assert entry["field"] == "case.engine.firing_angles_deg"
    assert entry["detail"] == "2 firing angles are given for 4 cylinders."


def test_rpm_range_without_engine(client, smallest, put):
    put(smallest, "attenuation", {"rpm_from": 1000, "rpm_to": 3000})
    entry, _ = refused(client, smallest)
    assert (entry["field"], entry["code"]) == ("attenuation.rpm_from", "no_engine")


def test_falling_range(client, van, put):
    put(van, "attenuation", {"frequency_from_Hz": 100, "frequency_to_Hz": 100})
    entry, _ = refused(client, van)
    assert (entry["field"], entry["code"]) == ("attenuation.frequency_to_Hz", "range_falls")


def test_engine_that_makes_too_much_gas(client, van, put):
    del van["case"]["main_pipe"]["mass_flow_kg_h"]
    van["case"]["engine"].update(displacement_L=100, rpm=30000, volumetric_efficiency=1)
    entry, _ = refused(client, van)
    assert entry["field"] == "case.engine.displacement_L"
    assert (entry["code"], entry["unit"]) == ("mass_flow_out_of_range", "L")


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
        ("case.branch.material", "\ud800", "case.branch.material", "unknown_name"),
        ("case.branch.mat\ud800", "x", "case.branch", "not_unicode"),
    ],
)
def test_half_a_character_does_not_come_back(client, van, put, where, value, field, code):
    put(van, where, value)
    headers = {"content-type": "application/json"}
    response = client.post("/v1/steady", content=json.dumps(van), headers=headers)
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert (entry["field"], entry["code"]) == (field, code)
    assert "?" in entry["value"]


def test_gas_colder_than_air_is_answered_with_a_caution(steady, smallest, put):
    put(smallest, "case.main_pipe.gas_temperature_degC", -20)
    answer = steady(smallest)
    caution = next(c for c in answer["cautions"] if c["code"] == "mouth_colder_than_air")
    assert caution["field"] == "case.main_pipe.gas_temperature_degC"
    assert "-20 °C" in caution["message"]
    assert "20 °C" in caution["message"]
    assert answer["heat"]["entering_W"] < 0
