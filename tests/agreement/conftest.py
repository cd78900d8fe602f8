"""Shared by the agreement tests."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from shared.problems import _every_failure_has_the_one_shape, watch
from warmbranch_service.http.app import create_app
from warmbranch_service.http.fast_loops import compile_loops
from warmbranch_service.http.settings import Settings

__all__ = ["_every_failure_has_the_one_shape", "watch"]
"""Fixtures for every test here."""


@pytest.fixture(scope="session")
def client() -> Iterator[TestClient]:
    # On numpy the largest of the shown requests takes longer than a service lets one take.
    compile_loops()
    with TestClient(create_app(Settings(warm_up=0))) as client:
        yield client
