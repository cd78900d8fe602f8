"""Who may ask, and how often: an API key and a limit a minute, each only where it is set.

Where a sweep is asked for and none can be taken, that is said here too: a crowd that asks again and
again should cost as little as may be. Whoever is refused is answered in turn, so that a burst of
refusals holds up nobody who is let in.

What watches over the service, explains its failures or shows its documentation stays open.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import math
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from warmbranch_service.contract.errors import (
    LIMITED,
    UNAUTHORIZED,
    Problem,
    ProblemParts,
    problem_response,
)
from warmbranch_service.http.passage import metrics

API_KEY_HEADER = "X-API-Key"
GUARDED = "/v1/"
OPEN = ("/v1/health", "/v1/ready", "/v1/metrics", "/v1/openapi.json", "/v1/docs", "/v1/problems")
"""Addresses below ``GUARDED`` that ask for no key and count towards no limit, and all below them;
what lies elsewhere is pages and their files."""

MOST_BUCKETS = 10_000
"""Clients that are remembered; beyond, whoever has been silent longest is forgotten."""


REFUSALS_APART = 0.005
"""s between two refusals: writing and logging one takes the event loop some tenth of that."""

LONGEST_HELD = 1.0
"""s. Nobody is held longer for the sake of others; what comes beyond is refused at once."""


class Turnstile:
    """Lets refusals out one after the other; a lone one at once."""

    def __init__(self) -> None:
        self._next = 0.0

    async def pass_through(self) -> None:
        """Wait for one's turn."""
        now = asyncio.get_running_loop().time()
        wait = max(0.0, self._next - now)
        if wait > LONGEST_HELD:
            return
        self._next = now + wait + REFUSALS_APART
        if wait:
            await asyncio.sleep(wait)


class Buckets:
    """A token bucket for each client: a minute's worth at once, then evenly.

    Parameters
    ----------
    per_minute : int
    clock : callable
        Seconds.
    """

    def __init__(self, per_minute: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._most = float(per_minute)
        self._per_second = per_minute / 60
        self._clock = clock
        self._levels: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def __len__(self) -> int:
        return len(self._levels)

    def take(self, client: str) -> float:
        """Take a token; 0, or the seconds until there is one."""
        now = self._clock()
        level, then = self._levels.pop(client, (self._most, now))
        level = min(self._most, level + (now - then) * self._per_second)
        wait = 0.0 if level >= 1 else (1 - level) / self._per_second
        self._levels[client] = (level if wait else level - 1, now)
        if len(self._levels) > MOST_BUCKETS:
            self._levels.popitem(last=False)
        return wait


class Gate:
    """Pure ASGI middleware in front of the application.

    Parameters
    ----------
    app : ASGI application
    keys : tuple of str, or None
        None: open to all. No key at all: closed.
    per_minute : int
        0: any number.
    full : mapping from paths to callables, optional
        Of addresses whose places may all be taken: given who asks, raises ``Problem`` if they are.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        keys: tuple[str, ...] | None,
        per_minute: int,
        full: Mapping[str, Callable[[str], None]] | None = None,
    ) -> None:
        self.app = app
        self._full = full or {}
        self._asks = keys is not None
        self._keys = [_digest(key) for key in keys or ()]
        self._buckets = Buckets(per_minute) if per_minute else None
        self._turnstile = Turnstile()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request in, or answer why not."""
        refusal = None
        if scope["type"] == "http" and not is_open(scope["path"]):
            given = Headers(scope=scope).get(API_KEY_HEADER)
            known = given is not None and self._knows(given)
            address = scope["client"][0] if scope.get("client") else ""
            # Who shares turns with whom: see turns.py.
            scope["state"]["client"] = f"key {given}" if known else f"from {address}"
            refusal = self._refusal(scope, is_given=given is not None, known=known)
        if refusal is None:
            await self.app(scope, receive, send)
            return
        await self._turnstile.pass_through()
        request_id = scope["state"]["request_id"]
        response = problem_response(refusal, instance=scope["path"], request_id=request_id)
        await response(scope, receive, send)

    def _refusal(self, scope: Scope, *, is_given: bool, known: bool) -> ProblemParts | None:
        if self._buckets is not None:
            wait = math.ceil(self._buckets.take(scope["state"]["client"]))
            if wait:
                metrics.LIMITED.inc()
                detail = f"The limit of requests a minute is reached. Try again in {wait} s."
                return ProblemParts(LIMITED, detail, headers={"retry-after": str(wait)})
        if self._asks and not known:
            fault = "an API key that is not known" if is_given else "no API key"
            detail = f"The request holds {fault}. Send a key in the header {API_KEY_HEADER}."
            challenge = 'APIKey realm="warmbranch"'
            return ProblemParts(UNAUTHORIZED, detail, headers={"www-authenticate": challenge})
        if scope["method"] == "POST" and scope["path"] in self._full:
            try:
                self._full[scope["path"]](scope["state"]["client"])
            except Problem as problem:
                return problem.parts
        return None

    def _knows(self, given: str) -> bool:
        """Whether it is one of the keys, in a time that tells nothing about them."""
        digest = _digest(given)
        found = [hmac.compare_digest(digest, key) for key in self._keys]
        return any(found)


def _digest(key: str) -> bytes:
    return hashlib.sha256(key.encode("latin-1", "replace")).digest()


def is_open(path: str) -> bool:
    """Whether an address asks for no key and counts towards no limit."""
    if not path.startswith(GUARDED):
        return True
    return any(path == place or path.startswith(place + "/") for place in OPEN)
