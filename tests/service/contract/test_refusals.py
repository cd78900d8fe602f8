"""Every refusal names the field, the value, its unit and the remedy."""

from __future__ import annotations

import pytest

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
        "The string has no unit",
        "without quotes",
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
        "from 0.001 to 6000 mm",
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
        "from 1 to 24",
    ),
    (
        "case.engine.cylinders",
        25,
        ("out_of_range", 25, None),
        "25 lies outside",
        "from 1 to 24",
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
        'Give "model": one of "stirred mouth", "fixed"',
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
def test_wrong_value_is_named(refused, van, put, where, given, echo, detail, remedy):
    code, value, unit = echo
    entry, problem = refused(put(van, where, given))
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


def test_exact_words_of_a_size_out_of_range(refused, van, put):
    entry, problem = refused(put(van, "case.branch.wall_thickness_mm", "30 mm"))
    assert entry == {
        "pointer": "/case/branch/wall_thickness_mm",
        "field": "case.branch.wall_thickness_mm",
        "value": "30 mm",
        "unit": "mm",
        "detail": '"30 mm", 30 mm, lies outside what is admitted.',
        "remedy": "Give a number from 0.5 to 5 mm, or a string with one of the units "
        'mm, cm, m, in, inch, inches, ", ft, feet, foot, \', as in "1 7/8 in" or "16 ga".',
        "code": "out_of_range",
    }
    assert problem["title"] == "The request holds something impossible."
