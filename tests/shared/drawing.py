"""The OpenAPI document made easier to draw from, so that requests get behind the first check.

A string with a unit is one thing whose range JSON Schema cannot say: its pattern admits any number.
A sweep's field is another: it admits any text, and its values are those of whatever it names. Drawn
from that alone nearly every request is refused for them, and nothing behind is ever reached. So
most requests are drawn from the document with a format in place of each quantity's pattern, whose
strings lie within the bounds of the number beside it, with a few fields for a sweep to vary, and
with narrower ranges where several numbers must make a sensible whole. Whatever is drawn so is
admitted by the document itself; a few hundred requests are drawn from that as it stands.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import schemathesis
from hypothesis import strategies as st
from jsonschema_rs import Draft202012Validator

from warmbranch_service.contract import units
from warmbranch_service.contract.units import TEMPERATURE_DIFFERENCE
from warmbranch_service.http.openapi.request_examples import SHOP

Json = dict[str, Any]

FAR = 1e6
"""End of a range that has none."""

ANSWERED = "AsAnswered"
"""Behind the name of a schema: as the document has it."""

NARROWED: dict[str, tuple[float, float]] = {
    "Straight.straight_mm": (100, 400),
    "Bend.bend_deg": (10, 180),
    "Bend.bend_radius_mm": (80, 150),  # above half of the widest tube
    "Branch.length_mm": (450, 3000),  # above three of the widest bores
    "LengthPlace.pipe_length_mm": (3000, 20000),
    "LengthPlace.position_mm": (0, 3000),
    "FrequencyTarget.frequency_Hz": (30, 180),
}
"""Ranges that make sensible wholes."""

INSTEAD: dict[str, Json] = {
    "MixedGas.mole_fractions": {"enum": [{"N2": 1}, {"N2": 0.75, "CO2": 0.125, "H2O": 0.125}]},
    "Engine.firing_angles_deg": {"type": "null"},
    "Closures.calibration": {"enum": [None, SHOP]},
    "LearnRequest.earlier": {"enum": [None, SHOP]},
    "LearnRequest.learned_at": {"enum": [None, "2026-11-29", "1999-02-28"]},
    "DriveGiven.gas_temperature_curve": {
        "enum": [
            None,
            [{"time_s": 0, "gas_temperature_degC": 20}],
            [
                {"time_s": 0, "gas_temperature_degC": "68 F"},
                {"time_s": 60, "gas_temperature_degC": 500},
                {"time_s": 60, "gas_temperature_degC": 90},
            ],
        ]
    },
    "DriveGiven.mass_flow_curve": {
        "enum": [None, [{"time_s": 0, "mass_flow_kg_h": 0}, {"time_s": 9, "mass_flow_kg_h": 95}]]
    },
    "DriveGiven.air_speed_curve": {"enum": [None, [{"time_s": 0, "air_speed_m_s": "60 mph"}]]},
}
"""Fields whose parts must fit together, and some that do."""

VARIED = {
    "MainPipe": ("case.main_pipe", ("gas_temperature_degC", "mass_flow_kg_h", "surface")),
    "Surroundings": ("case.surroundings", ("air_speed_m_s", "air_temperature_degC")),
    "Branch": ("case.branch", ("outside_diameter_mm", "wall_thickness_mm")),
}
"""Model, its place, and fields of it for a sweep to vary."""


def to_draw_from(document: Json, *, most_designs: int) -> Json:
    """The document, easier to draw from."""
    drawn = copy.deepcopy(document)
    schemas = drawn["components"]["schemas"]
    # What is answered is held to the schemas as they stand, which requests share in part.
    as_they_stand = _renamed(document["components"]["schemas"])
    for operation in _operations(drawn):
        operation["responses"] = _renamed(operation["responses"])
    _narrow(schemas)
    known: dict[str, str] = {}
    for field in _quantities(schemas):
        text = next(form for form in field["anyOf"] if "pattern" in form)
        name = known.setdefault(json.dumps(field["anyOf"]), f"quantity-{len(known)}")
        if name == f"quantity-{len(known) - 1}":
            schemathesis.openapi.format(name, quantity_strings(field))
        text.clear()
        text.update({"type": "string", "format": name})
    for sampling in ("SobolSampling", "HypercubeSampling"):
        schemas[sampling]["properties"]["count"]["maximum"] = most_designs
    schemas["SweepRequest"]["properties"]["from_line"]["maximum"] = 3
    schemas["Vary"] = {"anyOf": list(_variations(schemas))}
    schemas.update({f"{name}{ANSWERED}": schema for name, schema in as_they_stand.items()})
    return drawn


def _operations(document: Json) -> Iterator[Json]:
    for methods in document["paths"].values():
        yield from methods.values()


def _renamed(part: Any) -> Any:
    """The same, with references to the schemas as they stand."""
    if isinstance(part, dict):
        return {key: _renamed(child) for key, child in part.items()}
    if isinstance(part, list):
        return [_renamed(child) for child in part]
    if isinstance(part, str) and part.startswith("#/components/schemas/"):
        return part + ANSWERED
    return part


def _narrow(schemas: Json) -> None:
    for place, (low, high) in NARROWED.items():
        number = next(f for f in _forms(_field(schemas, place)) if f["type"] == "number")
        number.pop("exclusiveMinimum", None)
        number.update(minimum=low, maximum=high)
    for place, said in INSTEAD.items():
        model, _, name = place.partition(".")
        for owner in ("WarmupRequest", "WarmUp") if model == "DriveGiven" else (model,):
            assert name in schemas[owner]["properties"], place
            schemas[owner]["properties"][name] = said
    _field(schemas, "Branch.centreline")["anyOf"][0]["maxItems"] = 5
    _field(schemas, "LearnRequest.jobs")["maxItems"] = 2  # each is a fit's whole request


def _field(schemas: Json, place: str) -> Json:
    model, _, name = place.partition(".")
    return schemas[model]["properties"][name]


def _variations(schemas: Json) -> Iterator[Json]:
    for model, (place, fields) in VARIED.items():
        for name in fields:
            value = {"anyOf": _forms(schemas[model]["properties"][name])}
            ways: dict[str, Json] = {
                "values": {"type": "array", "items": value, "minItems": 1, "maxItems": 3}
            }
            if name != "surface":
                ends = {"low": value, "high": value}
                ways["uniform"] = {
                    "type": "object",
                    "properties": ends,
                    "required": ["low", "high"],
                    "additionalProperties": False,
                }
                count = {"type": "integer", "minimum": 2, "maximum": 4}
                ways["grid"] = {
                    "type": "object",
                    "properties": {"from": value, "to": value, "count": count},
                    "required": ["from", "to", "count"],
                    "additionalProperties": False,
                }
            for way, said in ways.items():
                yield {
                    "type": "object",
                    "properties": {"field": {"const": f"{place}.{name}"}, way: said},
                    "required": ["field", way],
                    "additionalProperties": False,
                }


def _forms(field: Json) -> list[Json]:
    """What a field may hold, but for null."""
    return [form for form in field.get("anyOf", [field]) if form.get("type") != "null"]


def quantity_strings(field: Json) -> st.SearchStrategy[str]:
    """Strings with a unit that a quantity admits, spaces and all."""
    number = next(form for form in field["anyOf"] if form.get("type") == "number")
    text = next(form for form in field["anyOf"] if "pattern" in form)
    low = number.get("minimum", number.get("exclusiveMinimum", -FAR))
    high = number.get("maximum", FAR)
    unit = field["x-unit"]
    # Of those whose units the pattern all admits, the one with most: a temperature difference is
    # told in fewer units than a temperature.
    dimension = max(
        (
            dimension
            for dimension in (*units.DIMENSIONS, TEMPERATURE_DIFFERENCE)
            if unit in dimension.units and _names_all(dimension, text["pattern"])
        ),
        key=lambda dimension: len(dimension.units),
    )

    def written(share: float, spelling: str, spaces: tuple[int, int, int]) -> str:
        # Not the very ends: twelve digits of another unit may lie beyond. Numbers try those.
        value = low + (high - low) * (1e-6 + (1 - 2e-6) * share)
        quantity = units._registry().Quantity(value, dimension.units[unit])
        converted = quantity.to(dimension.units[spelling]).magnitude
        before, between, after = (" " * count for count in spaces)
        return f"{before}{converted:.12g}{between}{spelling}{after}"

    spaces = st.tuples(*(st.integers(0, 2) for _ in range(3)))
    strings = st.builds(written, st.floats(0, 1), st.sampled_from(list(dimension.units)), spaces)
    admits = Draft202012Validator(text)
    return strings.filter(admits.is_valid)


def _names_all(dimension: units.Dimension, pattern: str) -> bool:
    admits = Draft202012Validator({"pattern": pattern})
    return all(admits.is_valid(f"1 {unit}") for unit in dimension.units)


def _quantities(part: Any) -> Iterator[Json]:
    if isinstance(part, dict):
        forms = part.get("anyOf", ())
        if "x-unit" in part and any("pattern" in form for form in forms):
            yield part
            return
        for child in part.values():
            yield from _quantities(child)
    elif isinstance(part, list):
        for child in part:
            yield from _quantities(child)
