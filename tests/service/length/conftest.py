"""What the tests of the length route share: one request answered once."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
from fastapi.testclient import TestClient

from shared.posting import answers, refusals
from warmbranch_service.length.examples import example

Body = dict[str, Any]


@pytest.fixture
def ask() -> Body:
    """The invented van that drones at 2350 rpm; no more is asked than must be."""
    return {"case": copy.deepcopy(example("length")["case"]), "target": {"quiet_rpm": 2350}}


@pytest.fixture(scope="session")
def length(client: TestClient) -> Callable[[Body], Body]:
    """Post a request that must be answered."""
    return answers(client, "/v1/length")


@pytest.fixture
def length_refused(client: TestClient) -> Callable[[Body], Body]:
    """Post a request that must be refused; its first entry."""
    return refusals(client, "/v1/length")


@pytest.fixture(scope="session")
def van_answer(length) -> Body:
    """The first example's answer."""
    return length(example("length"))


@pytest.fixture(scope="session")
def loudness_answer(length) -> Body:
    """The second example's answer."""
    return length(example("loudness"))
