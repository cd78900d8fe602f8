"""What every request passes: an id, a limit of the body, security headers, one last safety net."""

from __future__ import annotations

import logging
import re
import time
import uuid
from collections.abc import Mapping
from typing import Any

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.contextvars import bind_contextvars

from warmbranch_service.contract.errors import (
    HEAD_TOO_LARGE,
    INTERNAL,
    TOO_LARGE,
    Problem,
    ProblemParts,
    problem_response,
)
from warmbranch_service.http.passage import metrics

log = logging.getLogger("warmbranch")

SECURITY_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "x-frame-options": "DENY",
    "cross-origin-resource-policy": "same-origin",
    "content-security-policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
}
UNLESS_GIVEN = tuple(
    (name.encode(), value.encode())
    for name, value in {**SECURITY_HEADERS, "cache-control": "no-store"}.items()
)
"""Headers of every answer that does not set them itself."""

METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
LONGEST_ADDRESS = 8 * 1024
"""Bytes of path and query; /v1/ask with every field of a case has some thousand."""

MOST_PARAMETERS = 200
"""Of an address, counted before they are taken apart; a case has some tens of fields."""

_REQUEST_ID = re.compile(r"[A-Za-z0-9._-]{1,64}", re.ASCII)


class Frame:
    """Pure ASGI middleware round everything else.

    Parameters
    ----------
    app : ASGI application
    longest_body : int
        Bytes; longer bodies are answered with 413.
    longer : mapping from paths to bytes, optional
        Limits of addresses that have their own.
    """

    def __init__(
        self, app: ASGIApp, *, longest_body: int, longer: Mapping[str, int] | None = None
    ) -> None:
        self.app = app
        self.longest_body = longest_body
        self.longer = longer or {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass one request on, and its answer back."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        longest = self.longer.get(scope["path"], self.longest_body)
        exchange = _Exchange(scope, receive, send, longest)
        if exchange.declared_length > longest:
            await exchange.answer(exchange.too_large())
            return
        if fault := _fault_of_address(scope["path"], scope["query_string"]):
            await exchange.answer(ProblemParts(HEAD_TOO_LARGE, fault))
            return
        try:
            await self.app(scope, exchange.receive, exchange.send)
        except Exception:
            log.exception("a request failed")
            if exchange.started:
                raise  # the status has left; only a broken connection can tell now
            await exchange.answer(ProblemParts(INTERNAL, "See the service's log."))
        finally:
            exchange.log()


def _fault_of_address(path: str, query: bytes) -> str:
    if len(path) + len(query) > LONGEST_ADDRESS:
        return f"The address is longer than {LONGEST_ADDRESS} bytes."
    if query.count(b"&") >= MOST_PARAMETERS:
        return f"The address has more than {MOST_PARAMETERS} parameters. Send JSON by POST."
    return ""


class _Exchange:
    """One request and its answer."""

    def __init__(self, scope: Scope, receive: Receive, send: Send, longest_body: int) -> None:
        headers = Headers(scope=scope)
        given = headers.get("x-request-id", "")
        self.request_id = given if _REQUEST_ID.fullmatch(given) else uuid.uuid4().hex
        scope.setdefault("state", {})["request_id"] = self.request_id
        # Every entry of the log that this request causes carries it, in solver threads too.
        bind_contextvars(request_id=self.request_id)
        length = headers.get("content-length", "")
        self.declared_length = int(length) if length.isdigit() and len(length) < 20 else 0
        self.longest_body = longest_body
        self.started = False
        self._scope, self._receive, self._send = scope, receive, send
        self._received = 0
        self._status = 0
        self._clock = time.perf_counter()

    def too_large(self) -> ProblemParts:
        detail = f"The body is longer than {self.longest_body} bytes."
        return ProblemParts(TOO_LARGE, detail, headers={"connection": "close"})

    async def receive(self) -> Message:
        message = await self._receive()
        if message["type"] == "http.request":
            self._received += len(message.get("body", b""))
            if self._received > self.longest_body:
                parts = self.too_large()
                raise Problem(parts.kind, parts.detail, headers=parts.headers)
        return message

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.started = True
            self._status = message["status"]
            headers: list[tuple[bytes, bytes]] = message["headers"]
            given = {name.lower() for name, _ in headers}
            headers.append((b"x-request-id", self.request_id.encode()))
            headers += [(name, value) for name, value in UNLESS_GIVEN if name not in given]
        await self._send(message)

    async def answer(self, parts: ProblemParts) -> None:
        response = problem_response(parts, instance=self._scope["path"], request_id=self.request_id)
        await response(self._scope, self._receive, self.send)

    def log(self) -> None:
        elapsed = time.perf_counter() - self._clock
        facts: dict[str, Any] = {
            "method": self._scope["method"],
            "path": self._scope["path"],
            "status": self._status,
            "milliseconds": round(elapsed * 1e3, 1),
            **self._scope["state"].get("work", {}),
        }
        log.info("answered", extra=facts)
        route = _template(self._scope)
        method = self._scope["method"] if self._scope["method"] in METHODS else "other"
        metrics.REQUESTS.labels(method, route, str(self._status)).inc()
        metrics.LATENCY.labels(route).observe(elapsed)


def _template(scope: Scope) -> str:
    """The route that answered, as it was declared; one word for all else."""
    return getattr(scope.get("route"), "path", "none")
