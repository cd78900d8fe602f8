"""The schema says everything: units, bounds, defaults, descriptions, examples."""

from __future__ import annotations

import json

import pytest

from shared.document import MODELS, names_below
from warmbranch.case import closures
from warmbranch.case.geometry import SHORTEST_IN_BORES
from warmbranch_service.case.branch import Branch
from warmbranch_service.case.schema import Case
from warmbranch_service.contract.fields import AnswerModel, RequestModel
from warmbranch_service.contract.units import unit_of
from warmbranch_service.steady.request import SteadyRequest


def bounds(schema):
    number = next(form for form in schema.get("anyOf", [schema]) if form.get("type") == "number")
    low = number.get("minimum", number.get("exclusiveMinimum"))
    return low, number.get("maximum")


def unit_faults(place, name, schema):
    """Where a field's schema and its name tell two units."""
    unit, said = unit_of(name), schema.get("x-unit")
    if unit is not None:
        return [] if said == unit else [f"{place}: {said} in the schema, {unit} in the name"]
    free = said is None or said == "1" or said.startswith("that ")
    return [] if free else [f"{place}: {said} in the schema, none in the name"]


@pytest.mark.parametrize("model", MODELS)
def test_unit_stands_in_the_schema_as_in_the_name(schemas, model):
    fields = schemas[model].get("properties", {})
    assert not [f for n, field in fields.items() for f in unit_faults(f"{model}.{n}", n, field)]


def test_two_units_of_one_field_are_found():
    assert unit_faults("M.length_mm", "length_mm", {"x-unit": "m"})
    assert unit_faults("M.length_mm", "length_mm", {})
    assert unit_faults("M.length", "length", {"x-unit": "mm"})
    assert not unit_faults("M.length_mm", "length_mm", {"x-unit": "mm"})


def test_unknown_fields_are_refused_by_the_schema_too(schemas):
    models = names_below(RequestModel) & set(schemas)
    assert len(models) > 40
    assert not [m for m in sorted(models) if schemas[m]["additionalProperties"] is not False]


def test_every_object_is_described(schemas):
    models = (names_below(RequestModel) | names_below(AnswerModel)) & set(schemas)
    assert len(models) > 100
    assert not [m for m in sorted(models) if not schemas[m]["description"].endswith(".")]


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
def test_admissible_box(schemas, model, name, low, high):
    assert bounds(schemas[model]["properties"][name]) == (low, high)


def test_cylinders_are_bounded_and_the_shortest_branch_is_said(schemas):
    cylinders = schemas["Engine"]["properties"]["cylinders"]
    assert (cylinders["minimum"], cylinders["maximum"]) == (1, 24)
    assert (
        f"{SHORTEST_IN_BORES:g} bores"
        in schemas["Branch"]["properties"]["centreline"]["description"]
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
    ("StirredMouth", "mouth_exchange_coefficient", closures.MOUTH_EXCHANGE.median),
    ("StirredMouth", "reach_bores", closures.REACH.median),
    ("StirredMouth", "tone_exchange_coefficient", closures.TONE_EXCHANGE.median),
    ("StirredMouth", "incident_pressure_Pa", 0),
    ("StirredMouth", "buoyancy_factor", closures.BUOYANCY.median),
    ("LinkedFilm", "stirred_film_coefficient", closures.STIRRED_FILM.median),
    ("NaturalAndForced", "factor", closures.OUTER_FILM_FACTOR.median),
    ("MouthByGeometry", "factor", closures.MOUTH_FACTOR.median),
    ("Closures", "wall_losses", True),
    ("RpmRange", "points", 41),
    ("FrequencyRange", "points", 41),
]


@pytest.mark.parametrize(("model", "name", "default"), DEFAULTS)
def test_default_is_in_the_schema(schemas, model, name, default):
    assert schemas[model]["properties"][name]["default"] == default


def test_what_may_be_left_out_says_its_default(schemas):
    silent = []
    for model in sorted(names_below(RequestModel) & set(schemas)):
        body = schemas[model]
        for name in body.get("properties", {}).keys() - set(body.get("required", [])):
            field = body["properties"][name]
            said = {"default", "x-default"} & field.keys()
            if not said and "default" not in field.get("description", "").lower():
                silent.append(f"{model}.{name}")
    assert {place.partition(".")[2] for place in silent} <= {
        "centreline",
        "length_mm",
        "emissivity",
    }, silent


def test_whole_closures_have_defaults(schemas):
    properties = schemas["Case"]["properties"]
    assert properties["closures"]["default"]["mixing"]["model"] == "stirred mouth"
    assert schemas["Case"]["required"] == ["branch", "main_pipe"]
    # Its gas temperature may come from skin_reading or engine_load instead.
    assert schemas["MainPipe"]["required"] == [
        "outside_diameter_mm",
        "wall_thickness_mm",
    ]


def test_failures_have_one_shape_in_the_document(document):
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
