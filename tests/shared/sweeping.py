"""What tests of several rooms share of sweeps: requests, and the answer's lines."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from shared.posting import refusals
from shared.requests import GAS, LENGTH, TUBE, uniform
from warmbranch_service.sweep import executors
from warmbranch_service.sweep.answer_schema import SweepLine
from warmbranch_service.sweep.plan import Chunk, Task

Body = dict[str, Any]

LAST = "/case/branch/centreline/2/straight_mm"


@pytest.fixture
def grid(van: Body) -> Body:
    """Two lengths by three gas temperatures."""
    return {
        **van,
        "vary": [
            {"field": LAST, "values": [900, "37 in"]},
            {"field": GAS, "grid": {"from": 250, "to": "700 F", "count": 3}},
        ],
    }


@pytest.fixture
def sobol(van: Body) -> Body:
    """Three chunks, the last of them short; a tenth of the designs are shorter than admitted."""
    return {
        **van,
        "case": {**van["case"], "branch": {**TUBE, "length_mm": 800}},
        "vary": [
            uniform(LENGTH, 50, 900),
            {"field": GAS, "normal": {"mean": 310, "standard_deviation": 30}},
        ],
        "sampling": {"method": "sobol", "count": 1100, "seed": 3},
        "outputs": ["resonance.quiet_rpm"],
    }


@pytest.fixture(scope="module")
def _chunks_of_the_module() -> dict[tuple[bytes, int, bytes], Chunk]:
    return {}


@pytest.fixture
def solved_once(
    monkeypatch: pytest.MonkeyPatch,
    _chunks_of_the_module: dict[tuple[bytes, int, bytes], Chunk],
) -> None:
    """Each chunk is solved once a module: for tests of the ways that chunks go into files.

    That whoever solves one again gets the same bytes is what test_executors.py and
    test_sweep_ending.py show.
    """
    solve = executors.solve_task

    def once(task: Task) -> Chunk:
        named = (task.request, task.number, task.points.tobytes())
        if named not in _chunks_of_the_module:
            _chunks_of_the_module[named] = solve(task)
        return _chunks_of_the_module[named]

    monkeypatch.setattr(executors, "solve_task", once)


@pytest.fixture
def swept(client: TestClient) -> Callable[[Body], list[Body]]:
    """Post a sweep that must be answered; its lines, each held against the schema."""

    def post(body: Body) -> list[Body]:
        response = client.post("/v1/sweep", json=body)
        assert response.status_code == 200, response.text
        assert response.headers["content-type"] == "application/x-ndjson"
        assert response.text.endswith("\n")
        lines = response.text.splitlines()
        for line in lines:
            SweepLine.model_validate_json(line)
        return [json.loads(line) for line in lines]

    return post


@pytest.fixture
def sweep_refused(client: TestClient) -> Callable[[Body], Body]:
    """Post a sweep that must be refused; its first entry."""
    return refusals(client, "/v1/sweep")
