"""A fit from the outside."""

from __future__ import annotations

from typing import Any

import pytest

Body = dict[str, Any]


@pytest.fixture(scope="session")
def fit(client):
    """Post a request that must be answered."""

    def post(body: Body, **more: Any) -> Body:
        response = client.post("/v1/fit", json={**body, **more})
        assert response.status_code == 200, response.text
        return response.json()

    return post
