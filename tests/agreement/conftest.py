"""Shared by the agreement tests."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from shared.problems import _every_failure_has_the_one_shape, watch
from warmbranch_service.http.app import create_app
from warmbranch_service.http.settings import Settings

__all__ = ["_every_failure_has_the_one_shape", "watch"]
"""Fixtures for every test here."""


@pytest.fixture(scope="session")
def client() -> Iterator[TestClient]:
    with TestClient(create_app(Settings(warm_up=0, seconds_per_request=600))) as client:
        yield client
