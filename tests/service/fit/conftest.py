"""What the tests of the fit route share."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from shared.posting import Post, answers


@pytest.fixture(scope="session")
def fit(client: TestClient) -> Post:
    """Post a request that must be answered."""
    return answers(client, "/v1/fit")
