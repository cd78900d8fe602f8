"""One connection: uvicorn's protocol, bounded in what it takes and in how long it waits for it.

uvicorn itself waits for ever for the end of a request and for whoever does not read its answer,
keeps a head and trailers of any size, takes trailers for headers, and answers what is no HTTP in a
shape of its own. Here each failure has the one shape of all failures.
"""

from __future__ import annotations

import asyncio
import json
import logging
import uuid
from collections.abc import Callable
from functools import partial
from http import HTTPStatus
from typing import Any, Literal

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from warmbranch_service.contract.errors import (
    BAD_REQUEST,
    HEAD_TOO_LARGE,
    PROBLEM_MEDIA_TYPE,
    TOO_SLOW,
    Kind,
    ProblemParts,
    problem_json,
)
from warmbranch_service.http.passage import metrics
from warmbranch_service.http.passage.middleware import SECURITY_HEADERS

log = logging.getLogger("warmbranch")

LONGEST_HEAD = 64 * 1024
"""Bytes of request line and headers, and of all between two parts of a body: the lines of chunks,
trailers. Far more than any client sends."""

MOST_HEADERS = 200
"""Of one request; each is looked through again and again."""

MOST_BEHIND = 100
"""Requests that may wait on a line behind the one that is answered."""

MOST_PIECES = 10_000
"""Of a body in what is read at once, a quarter of a megabyte at most: each costs a microsecond in
which nobody else is served."""

LEAST_TAKEN = 64 * 1024
"""Bytes of its answer, or all that is left, that a client must take in the time for it."""


class Connection(HttpToolsProtocol):
    """A connection whose requests must be small in the head and arrive in time.

    Parameters
    ----------
    seconds : float
        A request must have arrived whole so long after its first byte, and a connection must have
        brought a first byte so long after it was made.
    unread_seconds : float
        A client that takes nothing of its answer for so long is cut off.
    others
        As uvicorn gives them.
    """

    def __init__(
        self, *arguments: Any, seconds: float, unread_seconds: float, **others: Any
    ) -> None:
        super().__init__(*arguments, **others)
        self._seconds = seconds
        self._unread_seconds = unread_seconds
        self._unread: tuple[int, float] | None = None  # bytes, and since when no fewer
        self._idle_since = self.loop.time()
        self._fault: ProblemParts | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._part: Literal["nothing", "head", "body"] = "nothing"  # of a request, so far
        self._head = 0
        self._between = 0  # bytes since the last of the body
        self._ended_one = False
        self._brought_body = False
        self._pieces = 0

    # The base class narrows asyncio's own signature in the same way.
    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Wait for a first byte, but not for ever."""
        super().connection_made(transport)
        self._start_timer()

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing more."""
        self._stop_timer()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what has come, unless the head grows without end."""
        if self.transport.is_closing():
            return  # it was refused, and goes on sending
        self._ended_one = self._brought_body = False
        self._pieces = 0
        super().data_received(data)
        self._between += len(data)
        if self._part != "body" or self._ended_one or self._brought_body:
            self._between = 0
        # Of what brought the end of one request as well, how much is head is not known.
        counts = self._part == "head" and not self._ended_one
        self._head = self._head + len(data) if counts else 0
        if self._head > LONGEST_HEAD:
            detail = f"The request's head is longer than {LONGEST_HEAD} bytes."
            self._refuse(ProblemParts(HEAD_TOO_LARGE, detail))
        elif self._between > LONGEST_HEAD:
            detail = f"Trailers, or a chunk's line, are longer than {LONGEST_HEAD} bytes."
            self._refuse(ProblemParts(HEAD_TOO_LARGE, detail))

    def on_message_begin(self) -> None:
        """A request begins."""
        if len(self.pipeline) >= MOST_BEHIND:
            self._end_parsing(f"More than {MOST_BEHIND} requests wait behind one that is answered.")
        super().on_message_begin()
        self._part, self._head = "head", 0
        self._start_timer()

    def on_header(self, name: bytes, value: bytes) -> None:
        """A header; a trailer, which comes behind the body, is dropped."""
        if self._part != "head":
            return
        if len(self.headers) >= MOST_HEADERS:
            self._end_parsing(f"The request has more than {MOST_HEADERS} headers.", HEAD_TOO_LARGE)
        super().on_header(name, value)

    def on_headers_complete(self) -> None:
        """Its head is whole."""
        assert self.parser is not None, "it called this"
        if fault := head_fault(self.parser.get_http_version(), self.headers):
            self._end_parsing(fault)
        self._part = "body"
        super().on_headers_complete()

    def on_body(self, body: bytes) -> None:
        """A part of its body."""
        self._brought_body = True
        self._pieces += 1
        if self._pieces > MOST_PIECES:
            self._end_parsing("The body comes in chunks of a few bytes; send larger ones.")
        super().on_body(body)

    def on_message_complete(self) -> None:
        """It is whole."""
        self._part, self._ended_one = "nothing", True
        self._stop_timer()
        super().on_message_complete()

    def on_response_complete(self) -> None:
        """It is answered."""
        self._idle_since = self.loop.time()
        super().on_response_complete()

    def _end_parsing(self, fault: str, kind: Kind = BAD_REQUEST) -> None:
        self._fault = ProblemParts(kind, fault)
        raise ValueError(fault)  # ends the parser, which has ``send_400_response`` called

    def send_400_response(self, msg: str) -> None:
        """Answer what is no HTTP."""
        self._refuse(self._fault or ProblemParts(BAD_REQUEST, "This is no HTTP request."))

    @property
    def idle_since(self) -> float | None:
        """The loop's time at which the last answer ended; None where one is owed or unread."""
        # None until a head is whole, whatever the base class declares.
        asked = self.cycle is not None  # pyright: ignore[reportUnnecessaryComparison]
        owes = asked and not self.cycle.response_complete
        busy = owes or self._part != "nothing" or self.transport.is_closing()
        return None if busy or self.transport.get_write_buffer_size() else self._idle_since

    def look(self) -> None:
        """Cut the line of a client that does not read; to be called every second or so."""
        unread, now = self.transport.get_write_buffer_size(), self.loop.time()
        if unread == 0:
            self._unread = None
        elif self._unread is None or not 0 <= self._unread[0] - unread < LEAST_TAKEN:
            self._unread = unread, now
        elif now - self._unread[1] >= self._unread_seconds:
            log.warning("an answer is not read; its line is cut", extra={"unread_bytes": unread})
            self.transport.abort()

    def _start_timer(self) -> None:
        self._stop_timer()
        self._timer = self.loop.call_later(self._seconds, self._too_late)

    def _stop_timer(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _too_late(self) -> None:
        if self.flow.read_paused:  # not the client's fault: it is we who do not read
            self._start_timer()
            return
        # None until a head is whole, whatever the base class declares; so is cycle below.
        nothing_came = self.scope is None  # pyright: ignore[reportUnnecessaryComparison]
        if nothing_came:
            self.transport.close()
            return
        detail = f"The request was not whole {self._seconds:g} s after its first byte."
        self._refuse(ProblemParts(TOO_SLOW, detail))

    def _refuse(self, parts: ProblemParts) -> None:
        """Answer in place of the application, unless it has begun to, and close."""
        self._stop_timer()
        cycle = self.cycle
        is_first = cycle is None  # pyright: ignore[reportUnnecessaryComparison]
        under_way = not is_first and not cycle.response_complete
        # Behind another request that is still being answered only the line can tell.
        too_late = not is_first and cycle.response_started if self._part == "body" else under_way
        if not too_late:
            self.transport.write(self._written(parts))
        if under_way:
            cycle.disconnected = True
            cycle.message_event.set()
        self.transport.close()

    def _written(self, parts: ProblemParts) -> bytes:
        identity = uuid.uuid4().hex
        url = getattr(self, "url", b"").partition(b"?")[0].decode("latin-1")
        body = json.dumps(problem_json(parts, instance=url, request_id=identity)).encode()
        status = HTTPStatus(parts.kind.status)
        log.info(
            "refused", extra={"status": int(status), "why": parts.detail, "request_id": identity}
        )
        metrics.REQUESTS.labels("other", "none", str(int(status))).inc()
        headers = {
            "content-type": PROBLEM_MEDIA_TYPE,
            "content-length": str(len(body)),
            "connection": "close",
            "x-request-id": identity,
            "cache-control": "no-store",
            **SECURITY_HEADERS,
        }
        lines = [f"HTTP/1.1 {status.value} {status.phrase}"]
        lines += [f"{name}: {value}" for name, value in headers.items()]
        return "\r\n".join([*lines, "", ""]).encode("latin-1") + body


def head_fault(version: str, headers: list[tuple[bytes, bytes]]) -> str:
    """What is wrong with a head that the parser lets through; empty for nothing.

    Whoever stands between a client and this service may read such a head otherwise (RFC 9112,
    3.2 and 6.1, and its section 11.2 on request smuggling).
    """
    if version not in ("1.0", "1.1"):
        return f"HTTP/{version} is not spoken here; send HTTP/1.1."
    hosts = [value for name, value in headers if name == b"host"]
    if len(hosts) > 1 or (version == "1.1" and not hosts):
        return f"The request has {len(hosts)} headers Host; send one."
    codings = [value.lower() for name, value in headers if name == b"transfer-encoding"]
    if codings and (codings != [b"chunked"] or version == "1.0"):
        return "The only Transfer-Encoding that is understood is chunked, given once, in HTTP/1.1."
    return ""


def connections(seconds: float, unread_seconds: float) -> Callable[..., asyncio.Protocol]:
    """What makes a connection, for uvicorn."""
    return partial(Connection, seconds=seconds, unread_seconds=unread_seconds)
