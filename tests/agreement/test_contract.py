"""The OpenAPI document is complete: every field says what it is, in what unit and range.

Exempt, with the reason: a field that holds an object or a list of objects needs no example, for
the object's own fields have theirs; text, names and yes or no have no unit and no range.
"""

from __future__ import annotations

import io
import json
import re

import numpy as np
import pytest
import soundfile
from jsonschema_rs import Draft202012Validator

from shared.document import MODELS, OPERATIONS, names_below
from warmbranch_service.contract.fields import AnswerModel, RequestModel
from warmbranch_service.http.openapi.document import FAILURES, complete
from warmbranch_service.http.openapi.make_answer_examples import gather


def parts(schema):
    """The schema and what is below it, down to references."""
    yield schema
    for key in ("anyOf", "oneOf", "prefixItems"):
        for part in schema.get(key, ()):
            yield from parts(part)
    for key in ("items", "additionalProperties"):
        if isinstance(schema.get(key), dict):
            yield from parts(schema[key])


def holds_objects(schema):
    return any("$ref" in part for part in parts(schema))


def numbers(schema):
    return [part for part in parts(schema) if part.get("type") in ("number", "integer")]


def lacking(name, field, *, required):
    """What a field does not say, each with the remedy."""
    found = []
    if not field.get("description", "").strip().endswith((".", "?", ")")):
        found.append("a description that is a sentence: Field(description=...)")
    if not holds_objects(field) and not field.get("examples"):
        found.append(
            "an example: Field(examples=[...]); for an answer, let a request in "
            "request_examples.py yield one, and "
            "python -m warmbranch_service.http.openapi.make_answer_examples"
        )
    if numbers(field):
        if not field.get("x-unit"):
            found.append('a unit: json_schema_extra={"x-unit": ...}, "1" for a pure number')
        bounds = {"minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum", "enum", "const"}
        bare = [part for part in numbers(field) if bounds.isdisjoint(part)]
        if bare and "x-range" not in field:
            found.append("a range: bounds of its Quantity, or its unit in answer_ranges.LEAST")
    lists = [p for p in parts(field) if p.get("type") == "array"]
    if any("maxItems" not in part for part in lists):
        found.append("a limit of its list: Field(max_length=...), or a line in answer_ranges.MOST")
    if "additionalProperties" in field and "maxProperties" not in field:
        found.append("a limit of its entries: maxProperties")
    if not required and {"default", "x-default"}.isdisjoint(field):
        found.append("its default")
    return [f"{name} lacks {what}" for what in found]


@pytest.mark.parametrize("model", MODELS)
def test_every_field_says_everything(schemas, model):
    body, answers = schemas[model], model not in names_below(RequestModel)
    found = []
    for name, field in body.get("properties", {}).items():
        required = answers or name in body.get("required", [])
        found += lacking(f"{model}.{name}", field, required=required)
    assert not found


def test_the_walk_can_fail():
    assert len(lacking("M.x", {"type": "number"}, required=False)) == 5
    assert len(lacking("M.x", {"type": "array", "items": {"type": "string"}}, required=True)) == 3


def test_answers_give_every_field_so_none_has_a_default(schemas):
    for model in sorted(names_below(AnswerModel) & set(schemas)):
        properties = schemas[model].get("properties", {})
        assert set(schemas[model].get("required", [])) == set(properties), model


def of_fields(schemas):
    """Judges ``{model: {field: value}}`` by each field's own schema; in one, which is dear."""
    fields = {name: {"properties": body.get("properties", {})} for name, body in schemas.items()}
    return Draft202012Validator({"properties": fields, "components": {"schemas": schemas}})


def refused_by_themselves(model, schemas, check):
    """Examples and defaults of a model's fields that their own schemas do not admit."""
    found = []
    for name, field in schemas[model].get("properties", {}).items():
        given = [*field.get("examples", [])]
        set_by_default = field.get("default", field.get("x-default"))
        if set_by_default is not None:
            given.append(set_by_default)
        found += [(name, value) for value in given if not check.is_valid({model: {name: value}})]
    return found


@pytest.fixture(scope="module")
def check(schemas):
    return of_fields(schemas)


@pytest.mark.parametrize("model", MODELS)
def test_every_example_and_default_is_admitted_by_its_own_schema(schemas, check, model):
    assert not refused_by_themselves(model, schemas, check)


def test_an_example_out_of_range_is_found():
    field = {"type": "number", "maximum": 1, "examples": [0.5, 2], "default": 3}
    other = {"$ref": "#/components/schemas/M", "examples": [5, {"x": 2}, {"x": 1}]}
    schemas = {"M": {"type": "object", "properties": {"x": field, "y": other}}}
    expected = [("x", 2), ("x", 3), ("y", 5), ("y", {"x": 2})]
    assert refused_by_themselves("M", schemas, of_fields(schemas)) == expected


@pytest.mark.parametrize("name", [n for n, o in OPERATIONS.items() if "requestBody" in o])
def test_every_request_that_is_shown_is_answered(client, name):
    method, path = name.split()
    ((kind, media),) = OPERATIONS[name]["requestBody"]["content"].items()
    assert media["examples"], "show requests: Body(openapi_examples=...)"
    for shown in media["examples"].values():
        assert shown["summary"]
        if kind == "multipart/form-data":
            sound = io.BytesIO()
            soundfile.write(
                sound, np.random.default_rng(1).normal(0, 0.1, 32_000), 8000, format="WAV"
            )
            request = json.dumps(shown["value"]["request"])
            parts = [("request", (None, request)), ("after", ("after.wav", sound.getvalue()))]
            response = client.request(method, path, files=parts)
        else:
            response = client.request(method, path, json=shown["value"])
        assert response.status_code == 200, (name, shown["summary"], response.text)


@pytest.mark.parametrize("name", [n for n, o in OPERATIONS.items() if "requestBody" not in o])
def test_every_address_that_takes_no_body_is_answered(client, name):
    method, path = name.split()
    query: dict[str, str] = {}
    for parameter in OPERATIONS[name].get("parameters", ()):
        if parameter["in"] == "path":
            path = path.replace(f"{{{parameter['name']}}}", parameter["schema"]["examples"][0])
        if parameter.get("required") and parameter["in"] == "query":
            query |= parameter["example"]
    assert client.request(method, path, params=query).status_code == 200


@pytest.mark.parametrize("name", OPERATIONS)
def test_every_operation_is_described_and_tells_its_failures(document, name):
    method, path = name.split()
    operation = document["paths"][path][method.lower()]
    assert operation["summary"]
    assert operation["description"].endswith(".")
    for parameter in operation.get("parameters", ()):
        assert parameter["description"].endswith("."), parameter["name"]
    expected = {"400", "405", "408", "431", "500"}
    if "requestBody" in operation:
        expected |= {"401", "406", "413", "415", "422", "503"}
    assert expected <= set(operation["responses"])
    for status, response in operation["responses"].items():
        assert "X-Request-ID" in response["headers"]
        if status not in ("200", "304"):
            assert list(response["content"]) == ["application/problem+json"]
            assert response["description"] == FAILURES[status]


def test_completing_twice_changes_nothing(document):
    once = json.loads(json.dumps(document))
    assert complete(json.loads(json.dumps(document))) == once


def test_patterns_are_understood_outside_python_too(document):
    """ECMA 262, which JSON Schema asks for, has no named groups of Python's and no ``\\Z``."""
    for pattern in re.findall(r'"pattern": "((?:[^"\\]|\\.)*)"', json.dumps(document)):
        assert "(?P" not in pattern
        assert "\\\\Z" not in pattern


def test_examples_of_answers_are_what_is_answered_now(client, schemas):
    """After a change that is meant: make_answer_examples.py makes them anew."""
    missing = {
        f"{model}.{name}"
        for model, fields in gather().items()
        for name in fields
        if not schemas.get(model, {}).get("properties", {}).get(name, {}).get("examples")
    }
    assert not missing
