"""The one shape of failures (RFC 9457), proven of every failure that a test meets.

check_problem      one failure; its body
Watch              every answer that an application gives in this process
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

import pytest

from warmbranch_service.contract.errors import CLIENT_LEFT, KINDS, MOST_ENTRIES
from warmbranch_service.http.passage.middleware import SECURITY_HEADERS, Frame

Json = dict[str, Any]

KEYS = {"type", "title", "status", "detail", "instance", "request_id", "errors"}
ENTRY_KEYS = {"pointer", "field", "value", "unit", "detail", "remedy", "code"}


def strict(text: bytes) -> Any:
    """JSON as RFC 8259 has it: Python's own reader lets NaN and repeated keys pass."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} in {text[:200]!r}")

    def once(pairs: list[tuple[str, Any]]) -> Json:
        assert len(dict(pairs)) == len(pairs), text[:200]
        return dict(pairs)

    return json.loads(text.decode("utf-8"), parse_constant=refuse, object_pairs_hook=once)


def check_problem(status: int, headers: Mapping[str, str], content: bytes) -> Json:
    """Hold a failure to its shape; header names in lower case."""
    told = f"{status} {content[:300]!r}"
    assert headers["content-type"] == "application/problem+json", told
    body: Json = strict(content)
    assert set(body) == KEYS, told
    prefix, _, name = body["type"].rpartition("/")
    assert prefix == "/v1/problems", told
    kind = KINDS[name]
    assert body["title"] == kind.title, told
    assert body["status"] == status == kind.status, told
    assert body["detail"], told
    assert body["request_id"] == headers["x-request-id"], told
    assert len(body["errors"]) <= MOST_ENTRIES, told
    assert (status == 422) == bool(body["errors"]), told
    for entry in body["errors"]:
        assert set(entry) == ENTRY_KEYS, told
        assert entry["pointer"] == "" or entry["pointer"].startswith("/"), told
        assert entry["detail"].endswith("."), told
        assert entry["remedy"].endswith("."), told
        assert entry["code"].replace("_", "").isalpha(), told
    assert "Traceback" not in body["detail"], told
    if status in (429, 503):
        assert int(headers["retry-after"]) >= 1, told
    if status == 405:
        assert headers["allow"], told
    for header, value in SECURITY_HEADERS.items():
        assert header in headers, (header, value)
    assert headers["cache-control"] == "no-store", told
    return body


class Watch:
    """Looks at every answer that leaves an application of this process."""

    def __init__(self) -> None:
        self.faults: list[str] = []

    def look(self, messages: list[Json]) -> None:
        """One whole answer, as the messages that the application sent."""
        start = next(m for m in messages if m["type"] == "http.response.start")
        status = start["status"]
        if status < 400 or status == CLIENT_LEFT.status:  # the last reaches nobody
            return
        headers = {name.decode().lower(): value.decode() for name, value in start["headers"]}
        try:
            check_problem(status, headers, b"".join(m.get("body", b"") for m in messages))
        except Exception as fault:
            self.faults.append(f"{type(fault).__name__}: {fault}")


@pytest.fixture(scope="session")
def watch() -> Iterator[Watch]:
    """Between every application and its server or test client."""
    found = Watch()
    own = Frame.__call__

    async def watched(self: Frame, scope: Any, receive: Any, send: Any) -> None:
        messages: list[Json] = []

        async def noted(message: Any) -> None:
            if message["type"] == "http.response.start" or (
                messages and messages[0]["status"] >= 400
            ):
                messages.append(message)
            await send(message)

        await own(self, scope, receive, noted)
        if messages and scope["method"] != "HEAD":
            found.look(messages)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Frame, "__call__", watched)
        yield found


@pytest.fixture(autouse=True)
def _every_failure_has_the_one_shape(watch: Watch) -> Iterator[None]:
    yield
    faults, watch.faults = watch.faults, []
    assert not faults
