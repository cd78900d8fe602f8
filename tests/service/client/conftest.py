"""A service on a real socket, and clients that meet a scripted one."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import httpx2
import pytest

from warmbranch_service.serving.running import LocalService


@pytest.fixture(scope="package")
def address() -> Iterator[str]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WARMBRANCH_WARM_UP", "0")  # no compiling beside the tests
        service = LocalService(0)
    with service:
        yield service.address


class Script:
    """A service that answers as it is told, one after the other, and notes what it was asked."""

    def __init__(self, *answers: httpx2.Response | Exception) -> None:
        self._answers = list(answers)
        self.asked: list[httpx2.Request] = []

    def __call__(self, request: httpx2.Request) -> httpx2.Response:
        self.asked.append(request)
        answer = self._answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer


@pytest.fixture
def script() -> Callable[..., Script]:
    return Script
