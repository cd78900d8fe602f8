"""Shared by the service's tests: one application, and requests to change."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from shared.asking import ask
from shared.posting import answers
from shared.problems import _every_failure_has_the_one_shape, watch
from shared.requests import HOT_PIPE, TUBE
from shared.sweeping import _chunks_of_the_module, grid, sobol, solved_once, sweep_refused, swept
from warmbranch_service.demo import demo_text
from warmbranch_service.http.app import create_app
from warmbranch_service.http.settings import Settings

Body = dict[str, Any]

SMALLEST: Body = {"case": {"branch": {**TUBE, "length_mm": 800}, "main_pipe": HOT_PIPE}}

__all__ = [
    "_chunks_of_the_module",
    "_every_failure_has_the_one_shape",
    "ask",
    "grid",
    "sobol",
    "solved_once",
    "sweep_refused",
    "swept",
    "watch",
]
"""Fixtures for every test here."""


@pytest.fixture(scope="session")
def client() -> Iterator[TestClient]:
    # Of a busy machine no test may tell: nothing is ended because its time is up.
    with TestClient(create_app(Settings(warm_up=0, seconds_per_request=600))) as client:
        yield client


@pytest.fixture
def van() -> Body:
    return json.loads(demo_text("van"))


@pytest.fixture
def smallest() -> Body:
    """No more than must be given."""
    return copy.deepcopy(SMALLEST)


@pytest.fixture
def steady(client: TestClient) -> Callable[[Body], Body]:
    """Post a request that must be answered."""
    return answers(client, "/v1/steady")


@pytest.fixture
def refused(client: TestClient) -> Callable[[Body], tuple[Body, Body]]:
    """Post a request that must be refused; its first entry, and the whole."""

    def post(body: Body) -> tuple[Body, Body]:
        response = client.post("/v1/steady", json=body)
        assert response.status_code == 422, response.text
        problem = response.json()  # its shape is looked at by ``watch``
        assert problem["type"] == "/v1/problems/invalid-request"
        assert problem["instance"] == "/v1/steady"
        return problem["errors"][0], problem

    return post


@pytest.fixture
def put() -> Callable[[Body, str, Any], Body]:
    """Set what stands at a dotted path; numbers in the path are indices."""

    def change(body: Body, path: str, value: Any) -> Body:
        *way, last = [int(part) if part.isdigit() else part for part in path.split(".")]
        here: Any = body
        for part in way:
            here = here.setdefault(part, {}) if isinstance(here, dict) else here[part]
        here[last] = value
        return body

    return change
