"""Where solves run: in few threads off the event loop, behind a short queue."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeVar

import anyio
import anyio.to_thread

from warmbranch_service.errors import OVERLOADED, Problem

Result = TypeVar("Result")

TYPICAL_SECONDS = 0.1
"""Upper guess of one solve, to tell who is turned away when to come back."""


class Workshop:
    """Runs work off the event loop.

    Parameters
    ----------
    at_once : int
        Threads that work side by side. More only fight over the interpreter lock.
    longest_queue : int
        Calls that may wait; further ones are refused with 503.
    """

    def __init__(self, *, at_once: int, longest_queue: int) -> None:
        self._limiter = anyio.CapacityLimiter(at_once)
        self._most = at_once + longest_queue
        self._inside = 0

    async def run(self, work: Callable[[], Result]) -> Result:
        """Run ``work`` in a thread and return what it returns."""
        if self._inside >= self._most:
            wait = max(1, math.ceil(self._inside * TYPICAL_SECONDS / self._limiter.total_tokens))
            raise Problem(
                OVERLOADED,
                f"{self._inside} requests are being worked on. Try again in {wait} s.",
                headers={"retry-after": str(wait)},
            )
        self._inside += 1
        try:
            return await anyio.to_thread.run_sync(work, limiter=self._limiter)
        finally:
            self._inside -= 1
