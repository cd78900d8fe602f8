"""The schema says everything: units, bounds, defaults, descriptions, examples."""

from __future__ import annotations

import json

import pytest

from warmbranch.case import closures
from warmbranch.case.geometry import SHORTEST_IN_BORES
from warmbranch_service.case.branch import Branch
from warmbranch_service.case.schema import Case
from warmbranch_service.contract.fields import AnswerModel, RequestModel
from warmbranch_service.contract.units import unit_of
from warmbranch_service.http.app import create_app
from warmbranch_service.steady.schema import SteadyRequest

SCHEMAS = create_app().openapi()["components"]["schemas"]
PROPERTIES = [
    (model, name, schema)
    for model, body in SCHEMAS.items()
    for name, schema in body.get("properties", {}).items()
]


def models_below(root):
    found = []
    for model in root.__subclasses__():
        found += [model.__name__, *models_below(model)]
    return found


REQUESTS = set(models_below(RequestModel))
ANSWERS = set(models_below(AnswerModel))


def bounds(schema):
    number = next(form for form in schema.get("anyOf", [schema]) if form.get("type") == "number")
    low = number.get("minimum", number.get("exclusiveMinimum"))
    return low, number.get("maximum")


@pytest.mark.parametrize(("model", "name", "schema"), PROPERTIES, ids=lambda v: str(v)[:30])
def test_unit_stands_in_the_schema_as_in_the_name(model, name, schema):
    unit = unit_of(name)
    if unit is not None:
        assert schema["x-unit"] == unit
    elif schema.get("x-unit") is not None:
        assert schema["x-unit"] == "1" or schema["x-unit"].startswith("that ")


@pytest.mark.parametrize("model", sorted(REQUESTS & set(SCHEMAS)))
def test_unknown_fields_are_refused_by_the_schema_too(model):
    assert SCHEMAS[model]["additionalProperties"] is False


@pytest.mark.parametrize("model", sorted((REQUESTS | ANSWERS) & set(SCHEMAS)))
def test_every_object_is_described(model):
    assert SCHEMAS[model]["description"].endswith(".")


# The admissible box.
BOX = [
    ("Branch", "outside_diameter_mm", 15, 150),
    ("Branch", "wall_thickness_mm", 0.5, 5),
    ("Branch", "length_mm", 0, 6000),
    ("Branch", "emissivity", 0, 1),
    ("Branch", "rise_deg", -90, 90),
    ("MainPipe", "outside_diameter_mm", 15, 600),
    ("MainPipe", "wall_thickness_mm", 0.5, 12),
    ("MainPipe", "gas_temperature_degC", -40, 1000),
    ("MainPipe", "mass_flow_kg_h", 0, 20000),
    ("Surroundings", "air_temperature_degC", -40, 60),
    ("Surroundings", "air_speed_m_s", 0, 60),
    ("Surroundings", "pressure_kPa", 50, 200),
    ("FixedMixing", "diffusivity_m2_s", 0, 1),
    ("FixedFilm", "coefficient_W_m2K", 0.1, 1000),
    ("Wrap", "thickness_mm", 0, 50),
    ("Wrap", "conductivity_W_mK", 0.02, 1),
]


@pytest.mark.parametrize(("model", "name", "low", "high"), BOX)
def test_admissible_box(model, name, low, high):
    assert bounds(SCHEMAS[model]["properties"][name]) == (low, high)


def test_cylinders_are_bounded_and_the_shortest_branch_is_said():
    cylinders = SCHEMAS["Engine"]["properties"]["cylinders"]
    assert (cylinders["minimum"], cylinders["maximum"]) == (1, 24)
    assert (
        f"{SHORTEST_IN_BORES:g} bores"
        in SCHEMAS["Branch"]["properties"]["centreline"]["description"]
    )


DEFAULTS = [
    ("Branch", "material", "stainless 304"),
    ("Branch", "surface", "weathered stainless"),
    ("Branch", "rise_deg", 0),
    ("MainPipe", "pulsation_augmentation", closures.PULSATION_AUGMENTATION.median),
    ("Surroundings", "pressure_kPa", 101.325),
    ("Surroundings", "air_speed_m_s", 0),
    ("Surroundings", "relative_humidity_percent", 50),
    ("Engine", "cycle", "four-stroke"),
    ("Engine", "pipe_share", 1),
    ("StirredMouth", "stirring_coefficient", closures.STIRRING.median),
    ("StirredMouth", "reach_bores", closures.REACH.median),
    ("StirredMouth", "pulsation_coefficient", closures.PULSATION.median),
    ("StirredMouth", "incident_pressure_Pa", 0),
    ("StirredMouth", "buoyancy_factor", 1),
    ("LinkedFilm", "stanton_number", closures.STANTON.median),
    ("NaturalAndForced", "factor", closures.OUTER_FILM_FACTOR.median),
    ("MouthByGeometry", "factor", closures.MOUTH_FACTOR.median),
    ("Closures", "wall_losses", True),
    ("RpmRange", "points", 41),
    ("FrequencyRange", "points", 41),
]


@pytest.mark.parametrize(("model", "name", "default"), DEFAULTS)
def test_default_is_in_the_schema(model, name, default):
    assert SCHEMAS[model]["properties"][name]["default"] == default


@pytest.mark.parametrize("model", sorted(REQUESTS & set(SCHEMAS)))
def test_what_may_be_left_out_says_its_default(model):
    body = SCHEMAS[model]
    for name, schema in body.get("properties", {}).items():
        if name in body.get("required", []):
            continue
        said = {"default", "x-default"} & schema.keys() or "default" in schema.get(
            "description", ""
        ).lower()
        assert said or name in ("centreline", "length_mm", "emissivity"), name


def test_whole_closures_have_defaults():
    properties = SCHEMAS["Case"]["properties"]
    assert properties["closures"]["default"]["mixing"]["model"] == "stirred mouth"
    assert SCHEMAS["Case"]["required"] == ["branch", "main_pipe"]
    assert SCHEMAS["MainPipe"]["required"] == [
        "outside_diameter_mm",
        "wall_thickness_mm",
        "gas_temperature_degC",
    ]


def test_failures_have_one_shape_in_the_document():
    document = create_app().openapi()
    assert "HTTPValidationError" not in document["components"]["schemas"]
    for path, methods in document["paths"].items():
        for operation in methods.values():
            for status, response in operation["responses"].items():
                if status in ("200", "304"):
                    continue
                assert list(response["content"]) == ["application/problem+json"], path


def test_a_case_that_was_read_can_be_written_and_read_again(van, put):
    put(van, "case.main_pipe.gas_temperature_degC", "590 F")
    put(van, "case.main_pipe.emissivity", 0.5)
    once = SteadyRequest.model_validate(van)
    assert SteadyRequest.model_validate(json.loads(once.model_dump_json())) == once
    shorter = once.model_dump(mode="json", exclude_unset=True)
    assert SteadyRequest.model_validate(shorter) == once


def test_python_callers_may_pass_models(van):
    branch = Branch.model_validate(van["case"]["branch"])
    pipe = van["case"]["main_pipe"]
    assert Case(branch=branch, main_pipe=pipe).branch == branch
