"""The OpenAPI document: what stands in it, known before any application is made.

Tests are named after the models and operations of the document that is kept, so that collecting
them imports no application; tests/agreement/test_openapi.py holds that document to the one that
the application gives. What is looked at is always the application's own.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

Json = dict[str, Any]

KEPT: Json = json.loads(
    (Path(__file__).parents[2] / "fixtures" / "openapi.json").read_text(encoding="utf-8")
)

MODELS: list[str] = sorted(KEPT["components"]["schemas"])

OPERATIONS: dict[str, Json] = {
    f"{method.upper()} {path}": operation
    for path, methods in KEPT["paths"].items()
    for method, operation in methods.items()
}
"""Name such as ``POST /v1/steady``, and what the document kept says of it."""


def names_below(root: type) -> set[str]:
    """Names of all classes that are made from one."""
    return {n for m in root.__subclasses__() for n in (m.__name__, *names_below(m))}


@pytest.fixture(scope="session")
def document() -> Json:
    """What the application says of itself now."""
    from warmbranch_service.http.app import create_app

    return json.loads(json.dumps(create_app().openapi()))


@pytest.fixture(scope="session")
def schemas(document: Json) -> Json:
    """Its models by name."""
    return document["components"]["schemas"]
