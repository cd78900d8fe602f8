"""What tests of several rooms share: an application asked over ASGI, without a network."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest


class Reply(NamedTuple):
    """What an application answered."""

    status: int
    headers: dict[str, str]
    body: bytes

    def json(self) -> Any:
        return json.loads(self.body)


class Asking:
    """One request to an ASGI application, whose client can leave."""

    def __init__(self, app: Any, path: str, body: bytes, headers: dict[str, str]) -> None:
        self.left = asyncio.Event()
        self.messages: list[dict[str, Any]] = []
        place, _, query = path.partition("?")
        given = {"content-type": "application/json", "content-length": str(len(body)), **headers}
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": "POST" if body else "GET",
            "path": place,
            "raw_path": place.encode(),
            "root_path": "",
            "scheme": "http",
            "query_string": query.encode(),
            "headers": [(n.lower().encode(), v.encode()) for n, v in given.items()],
            "client": ("127.0.0.1", 50_000),
            "server": ("127.0.0.1", 8000),
        }
        parts = [{"type": "http.request", "body": body, "more_body": False}]

        async def receive() -> dict[str, Any]:
            if parts:
                return parts.pop(0)
            await self.left.wait()
            return {"type": "http.disconnect"}

        async def send(message: dict[str, Any]) -> None:
            self.messages.append(message)

        self.task = asyncio.ensure_future(app(scope, receive, send))

    async def reply(self) -> Reply:
        await self.task
        start = self.messages[0]
        body = b"".join(m.get("body", b"") for m in self.messages[1:])
        headers = {name.decode(): value.decode() for name, value in start["headers"]}
        return Reply(start["status"], headers, body)


@pytest.fixture
def ask() -> Callable[..., Asking]:
    def begin(app: Any, path: str, body: Any = None, **headers: str) -> Asking:
        if not isinstance(body, bytes):
            body = b"" if body is None else json.dumps(body).encode()
        return Asking(app, path, body, {k.replace("_", "-"): v for k, v in headers.items()})

    return begin
