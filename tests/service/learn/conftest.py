"""Shared by the tests of learning: invented finished jobs, and what they taught."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from shared.posting import answers
from shared.readings import infrared
from warmbranch_service.demo import demo_text

Body = dict[str, Any]


def _jobs() -> list[Body]:
    case = json.loads(demo_text("van"))["case"]
    found = []
    for i, (heard, shift) in enumerate([(2380, 0), (2360, 4), (2410, -3), (2390, 2)]):
        patch = {"surface": "matt black paint"}
        found.append(
            {
                "name": f"van {i}",
                "case": copy.deepcopy(case),
                "readings": [
                    infrared(80, 92 + shift, **patch),
                    infrared(200, 40 + shift, **patch),
                    infrared(500, 24, **patch),
                ],
                "heard": [{"quiet_rpm": heard}],
                "time_s": 3600,
            }
        )
    return found


@pytest.fixture
def jobs() -> list[Body]:
    return _jobs()


@pytest.fixture(scope="session")
def post(client):
    """Post to /v1/learn what must be answered."""
    return answers(client, "/v1/learn")


@pytest.fixture(scope="session")
def all_four(post) -> Body:
    """The answer to all jobs at once; not to be changed."""
    return post({"jobs": _jobs(), "learned_at": "2026-11-29"})
