"""What the tests of the length route share: one request answered once."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient

from warmbranch_service.length.examples import example

Body = dict[str, Any]


@pytest.fixture
def ask() -> Body:
    """The invented van that drones at 2350 rpm; no more is asked than must be."""
    return {"case": copy.deepcopy(example("length")["case"]), "target": {"quiet_rpm": 2350}}


@pytest.fixture(scope="session")
def length(client: TestClient) -> Callable[[Body], Body]:
    """Post a request that must be answered."""

    def post(body: Body) -> Body:
        response = client.post("/v1/length", json=body)
        assert response.status_code == 200, response.text
        return response.json()

    return post


@pytest.fixture
def length_refused(client: TestClient) -> Callable[[Body], Body]:
    """Post a request that must be refused; its first entry."""

    def post(body: Body) -> Body:
        response = client.post("/v1/length", json=body)
        assert response.status_code == 422, response.text
        assert response.headers["content-type"] == "application/problem+json"
        entry = response.json()["errors"][0]
        assert entry["detail"].endswith(".")
        assert entry["remedy"].endswith(".")
        return entry

    return post


@pytest.fixture(scope="session")
def van_answer(length) -> Body:
    """The first example's answer."""
    return length(example("length"))


@pytest.fixture(scope="session")
def loudness_answer(length) -> Body:
    """The second example's answer."""
    return length(example("loudness"))
