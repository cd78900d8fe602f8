"""Requests made from the OpenAPI document by schemathesis: admitted ones and hostile ones.

All its checks are on. Two are narrowed. A request that the schema admits may be refused, if every
entry of the refusal carries a code that the document lists under ``x-rules`` of the object it
concerns, for JSON Schema has no word for such a rule (a sum of shares, three bores of length). And
what was spoilt may be answered, if the document admits it all the same: schemathesis spoils one
member of a union, and now and then what comes out is another.
Nothing is kept from one request to the next, so there are no states to explore.

By default some hundred and fifty requests; ``-m slow`` makes thousands, ``-m exhaustive`` more than
20,000.
What takes seconds to import or to take in is left to the tests that run.
"""

from __future__ import annotations

from typing import Any

import pytest

from shared.document import KEPT, OPERATIONS
from warmbranch_service.contract.rules import RULES
from warmbranch_service.http.app import create_app
from warmbranch_service.http.settings import Settings

Json = dict[str, Any]

MOST_DESIGNS = 100
DOCUMENT = KEPT  # what the application says, by tests/agreement/test_openapi.py
OF_STRINGS = {rule["code"] for rule in DOCUMENT["info"][RULES]}
UPLOADS = {"/v1/listen"}
"""What takes files beside its JSON is tried by hand, in tests/service/listen."""

IN_AN_ADDRESS = {"/v1/ask/{question}"}
"""Whose parameters are a whole request, told by the POST of that name; see http/test_ask.py."""

OF_MANY = {"/v1/learn"}
"""Whose request holds thirty of another's: its strings are that one's, and drawn with -m slow."""

GETS = [
    path
    for method, path in (name.split()[:2] for name in OPERATIONS)
    if method == "GET" and path not in IN_AN_ADDRESS
]
POSTS = [
    path
    for method, path in (name.split()[:2] for name in OPERATIONS)
    if method == "POST" and path not in UPLOADS
]


@pytest.fixture(scope="session")
def application():
    return create_app(Settings(warm_up=0, seconds_per_request=600, sweep_designs=MOST_DESIGNS))


def read(document: Json, application, **choice: Any):
    import schemathesis

    schema = schemathesis.openapi.from_dict(document)
    schema.app = application
    return schema.include(**choice)


@pytest.fixture(scope="session")
def easier() -> Json:
    from shared.drawing import to_draw_from

    return to_draw_from(DOCUMENT, most_designs=MOST_DESIGNS)


def search(schema, examples: int, *, borders: bool = True) -> None:
    """Judge so many requests of each operation, and what its document shows and borders on.

    Without ``borders`` no more than the requests that are drawn: the document as it stands shows
    and borders on all that the one made easier does.

    What ``schema.parametrize`` does, but when the test runs: taking a document in takes as long as
    many a test, and who collects tests should not wait for it.
    """
    from hypothesis import HealthCheck, Phase, settings
    from schemathesis.checks import load_all_checks
    from schemathesis.pytest.lazy import get_all_tests

    load_all_checks()
    how = settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,  # a failure in CI is a failure at one's desk
        database=None,
        # Failures are small enough as they are.
        phases=[*([Phase.explicit] if borders else []), Phase.generate],
        suppress_health_check=list(HealthCheck),  # a request is a large object; it takes long
    )
    searches = [
        result.ok()
        for result in get_all_tests(schema=schema, test_func=judge, settings=how, given_kwargs=None)
    ]
    assert searches
    for _, run in searches:
        run()


def judge(case) -> None:
    from schemathesis import GenerationMode
    from schemathesis.specs.openapi import checks

    response = case.call()
    path, excluded = case.operation.path, []
    if case.meta.generation.mode == GenerationMode.POSITIVE:
        if response.status_code == 422 and only_unsaid(path, response.json()):
            excluded.append(checks.positive_data_acceptance)
    elif response.status_code == 200 and case.method == "POST" and admits(path, case.body):
        excluded.append(checks.negative_data_rejection)
    case.validate_response(response, excluded_checks=excluded)


def admits(path: str, body: Any) -> bool:
    from jsonschema_rs import Draft202012Validator

    schema = {**request_schema(path), "components": DOCUMENT["components"]}
    return Draft202012Validator(schema).is_valid(body)


def request_schema(path: str) -> Json:
    (media,) = DOCUMENT["paths"][path]["post"]["requestBody"]["content"].values()
    return media["schema"]


def only_unsaid(path: str, refusal: Json) -> bool:
    """Whether a refusal rests on nothing but rules that JSON Schema cannot say."""
    schema = request_schema(path)
    return bool(refusal["errors"]) and all(
        entry["code"] in rules_along(schema, entry["pointer"])
        or (entry["code"] in OF_STRINGS and isinstance(entry["value"], str))
        for entry in refusal["errors"]
    )


def rules_along(schema: Json, pointer: str) -> set[str]:
    """Codes of the rules of every object on the way to a place."""
    found: set[str] = set()
    here = resolved(schema)
    for key in ["", *pointer.split("/")[1:]]:
        if key:
            here = [
                member
                for form in here
                for child in (form.get("properties", {}).get(key), entries(form, key))
                if child is not None
                for member in resolved(child)
            ]
        found |= {rule["code"] for form in here for rule in form.get(RULES, ())}
    return found


def entries(form: Json, key: str) -> Json | None:
    return form.get("items") if key.isdigit() else form.get("additionalProperties") or None


def resolved(schema: Json) -> list[Json]:
    """The schema, references followed and unions taken apart."""
    if not isinstance(schema, dict):
        return []
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        return resolved(DOCUMENT["components"]["schemas"][name])
    forms = [*schema.get("anyOf", ()), *schema.get("oneOf", ())]
    return [schema, *(member for form in forms for member in resolved(form))]


@pytest.mark.parametrize("path", POSTS)
def test_no_request_breaks_the_contract(application, easier, path):
    search(read(easier, application, path=path), 15, borders=False)


@pytest.mark.slow
@pytest.mark.parametrize("path", [path for path in POSTS if path not in OF_MANY])
def test_no_string_breaks_the_contract(application, path):
    search(read(DOCUMENT, application, path=path), 6)


def test_no_address_without_body_breaks_the_contract(application):
    search(read(DOCUMENT, application, method="GET", path=GETS), 20)


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize("path", POSTS)
def test_no_request_of_hundreds_breaks_the_contract(application, easier, path):
    search(read(easier, application, path=path), 350)


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.parametrize("path", OF_MANY)
def test_no_string_of_many_requests_breaks_the_contract(application, path):
    search(read(DOCUMENT, application, path=path), 6)


@pytest.mark.exhaustive
@pytest.mark.parametrize("path", POSTS)
def test_no_request_of_many_breaks_the_contract(application, easier, path):
    search(read(easier, application, path=path), 3500)


@pytest.mark.exhaustive
@pytest.mark.parametrize("path", POSTS)
def test_no_string_of_many_breaks_the_contract(application, path):
    search(read(DOCUMENT, application, path=path), 500)
