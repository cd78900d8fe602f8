"""The OpenAPI document, completed: what the framework leaves out, and what every field must say.

complete                what the framework wrote, with failures, headers, defaults, ranges, examples
FAILURES                when each failing status is answered
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from typing import Any, cast

from pydantic import BaseModel

from warmbranch_service.contract.errors import PROBLEM_MEDIA_TYPE, ProblemDetails
from warmbranch_service.contract.fields import AnswerModel, JsonSchema, RequestModel
from warmbranch_service.contract.forms import CSV
from warmbranch_service.contract.rules import OF_STRINGS, RULES
from warmbranch_service.http.openapi.answer_ranges import (
    ANY_NUMBER,
    LEAST,
    MOST,
    MOST_IN_MODEL,
    MOST_OF_ALL,
    MOST_WITHIN,
    SIGNED,
)
from warmbranch_service.http.passage.gate import API_KEY_HEADER, is_open
from warmbranch_service.http.routes import listen

API_KEY = "ApiKey"

FAILURES = {
    "400": "The request is no HTTP, or its body no JSON.",
    "401": "The service asks for an API key, and none or a wrong one is given.",
    "404": "There is nothing at this address.",
    "405": "This address does not take this method; the header Allow names those that it takes.",
    "406": "The header Accept names no form that this answer has.",
    "408": "The request did not arrive in time.",
    "413": "The body is too large.",
    "415": "The body is not sent as JSON.",
    "422": "The request holds something impossible; errors says what and where.",
    "429": "Too many requests within a minute; the header Retry-After names the seconds to wait.",
    "431": "The request's head is too large.",
    "500": "The service failed.",
    "503": "The service is busy or not ready, or the work took too long; the header Retry-After "
    "names the seconds to wait.",
}
"""When each failing status is answered; all in the one shape of failures."""

_ALWAYS = ("400", "405", "408", "431", "500")
_WITH_BODY = ("406", "413", "415", "422", "503")
_HEADERS: dict[str, JsonSchema] = {
    "X-Request-ID": {
        "description": "Finds this request in the service's log; one that is sent is kept.",
        "schema": {"type": "string", "examples": ["0f5e9d3c6a7b4c2f8e1d2a3b4c5d6e7f"]},
    },
    "Retry-After": {
        "description": "Seconds to wait before the same request is sent again.",
        "schema": {"type": "string", "pattern": "^[0-9]+$", "examples": ["1"]},
    },
    "Allow": {
        "description": "Methods that this address takes.",
        "schema": {"type": "string", "examples": ["POST"]},
    },
    "WWW-Authenticate": {
        "description": "That an API key is asked for.",
        "schema": {"type": "string", "examples": ['APIKey realm="warmbranch"']},
    },
    "ETag": {
        "description": "Names this version of the answer, for If-None-Match.",
        "schema": {"type": "string", "examples": ['"5d41402abc4b2a76"']},
    },
}


def complete(document: dict[str, Any]) -> dict[str, Any]:
    """Complete what the framework wrote, in place."""
    document["info"][RULES] = [{"code": code, "rule": rule} for code, rule in OF_STRINGS.items()]
    components = document["components"]
    schemas = cast("dict[str, Any]", components["schemas"])
    shape = ProblemDetails.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas.update(shape.pop("$defs"))
    schemas["ProblemDetails"] = shape
    for name, schema in listen.schemas().items():
        schemas.setdefault(name, schema)
    # The framework's own shape of failures, which never leaves this service.
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    components["securitySchemes"] = {
        API_KEY: {
            "type": "apiKey",
            "in": "header",
            "name": API_KEY_HEADER,
            "description": "Asked for only where the service was started with a key.",
        }
    }
    components["headers"] = _HEADERS
    for path, methods in document["paths"].items():
        for operation in methods.values():
            _complete_operation(path, operation)
    requests, answers = _names_below(RequestModel), _names_below(AnswerModel)
    examples = _answer_examples()
    for name, schema in schemas.items():
        for field, body in schema.get("properties", {}).items():
            _describe(body, schemas)
            given = {"default", "x-default"} & body.keys()
            if name in requests and not given and field not in schema.get("required", ()):
                # The framework leaves out defaults of null.
                body["default"] = None
            _set_aside_default(body)
            if name in answers or name not in requests:
                _bound(f"{name}.{field}", body)
            _exemplify(body, examples.get(name, {}).get(field))
    return document


def _names_below(root: type[BaseModel]) -> set[str]:
    found: set[str] = set()
    for model in root.__subclasses__():
        found |= {model.__name__, *_names_below(model)}
    return found


def _complete_operation(path: str, operation: dict[str, Any]) -> None:
    responses = cast("dict[str, Any]", operation["responses"])
    if "application/json" in responses.get("422", {}).get("content", {}):
        del responses["422"]  # the framework's own
    expected = [*_ALWAYS, *(_WITH_BODY if "requestBody" in operation else ())]
    if not is_open(path):
        expected += ["401", "429"]
        operation["security"] = [{}, {API_KEY: []}]
    for status in {*expected, *responses} & set(FAILURES):
        responses[status] = _failure(status)
    for status, response in responses.items():
        if "content" in response:
            # JSON first: generators of clients take the first form that they know.
            forms = sorted(response["content"].items(), key=lambda form: form[0] == CSV)
            response["content"] = dict(forms)
        headers = response.setdefault("headers", {})
        _refer(headers, "X-Request-ID")
        if status == "401":
            _refer(headers, "WWW-Authenticate")
        if status in ("429", "503"):
            _refer(headers, "Retry-After")
        if status == "405":
            _refer(headers, "Allow")
    operation["responses"] = dict(sorted(responses.items()))


def _failure(status: str) -> JsonSchema:
    reference = {"schema": {"$ref": "#/components/schemas/ProblemDetails"}}
    return {"description": FAILURES[status], "content": {PROBLEM_MEDIA_TYPE: reference}}


def _refer(headers: JsonSchema, name: str) -> None:
    headers[name] = {"$ref": f"#/components/headers/{name}"}


def _describe(body: JsonSchema, schemas: dict[str, Any]) -> None:
    """Let a field that holds one object, or a list of them, be described as that object is."""
    if "description" in body:
        return
    reference = body.get("$ref") or body.get("items", {}).get("$ref")
    if reference is not None:
        text = schemas[reference.rpartition("/")[2]].get("description", "")
        body["description"] = text.partition("\n\n")[0].replace("\n", " ")


def _set_aside_default(body: JsonSchema) -> None:
    """Move a choice's default under ``x-default``.

    Generators of clients give up on a default that is itself an object of one of several kinds.
    """
    if "oneOf" in body and isinstance(body.get("default"), dict):
        body["x-default"] = body.pop("default")


def _bound(place: str, body: JsonSchema) -> None:
    """Give an answer's field its range and the limits of its lists."""
    model, _, field = place.partition(".")
    most = MOST.get(place) or MOST_IN_MODEL.get(model) or MOST_OF_ALL.get(field)
    lists = [part for part in _parts(body) if part.get("type") == "array"]
    for depth, part in enumerate(lists):
        limit = most if depth == 0 else MOST_WITHIN.get(place)
        if limit is not None:
            part.setdefault("maxItems", limit)
    least = None if place in SIGNED else LEAST.get(body.get("x-unit", ""))
    numbers = [part for part in _parts(body) if part.get("type") in ("number", "integer")]
    for part in numbers:
        if part["type"] == "integer" and "x-unit" in body:
            part.setdefault("minimum", 0)
        elif least is not None:
            part.setdefault("minimum", least)
    if numbers and "x-unit" in body and not any(_has_range(part) for part in numbers):
        body.setdefault("x-range", ANY_NUMBER)


def _has_range(part: JsonSchema) -> bool:
    bounds = {"minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum", "enum", "const"}
    return not bounds.isdisjoint(part)


def _parts(body: JsonSchema) -> Iterator[JsonSchema]:
    """The schema and all below it, down to references; outer ones first."""
    yield body
    for key in ("anyOf", "oneOf", "prefixItems"):
        for part in body.get(key, ()):
            yield from _parts(part)
    items = body.get("items")
    if isinstance(items, dict):
        yield from _parts(cast("JsonSchema", items))


def _exemplify(body: JsonSchema, example: object) -> None:
    """Give a field an example where its schema names the values, or the answers hold one."""
    if "examples" in body:
        return
    for part in _parts(body):
        if "const" in part:
            body["examples"] = [part["const"]]
        elif "enum" in part:
            body["examples"] = [part["enum"][0]]
        elif part.get("type") == "boolean":
            body["examples"] = [body.get("default", True) if example is None else example]
        else:
            continue
        return
    if example is not None:
        body["examples"] = [example]


@cache
def _answer_examples() -> dict[str, dict[str, Any]]:
    """What the documented requests are answered, by model and field."""
    text = (
        files("warmbranch_service")
        .joinpath("http/openapi/answer_examples.json")
        .read_text(encoding="utf-8")
    )
    return json.loads(text)
