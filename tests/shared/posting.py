"""A request that must be answered, and one that must be refused."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from starlette.testclient import TestClient

Json = dict[str, Any]
Post = Callable[[Json], Json]


def answers(client: TestClient, path: str) -> Post:
    """Posts there what must be answered."""

    def post(body: Json) -> Json:
        response = client.post(path, json=body)
        assert response.status_code == 200, response.text
        return response.json()

    return post


def refusals(client: TestClient, path: str) -> Post:
    """Posts there what must be refused; the first entry."""

    def post(body: Json) -> Json:
        response = client.post(path, json=body)
        assert response.status_code == 422, response.text
        assert response.headers["content-type"] == "application/problem+json"
        entry = response.json()["errors"][0]
        assert entry["detail"].endswith(".")
        assert entry["remedy"].endswith(".")
        return entry

    return post


def leaves(value: Any) -> Iterator[Any]:
    """All values of an answer, however deep."""
    for child in value.values() if isinstance(value, dict) else value:
        if isinstance(child, (dict, list)):
            yield from leaves(child)
        else:
            yield child
