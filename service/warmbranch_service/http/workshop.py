"""Where solves run: in few threads off the event loop, behind a short queue.

Every piece of work can be ended: by its time limit, by whoever asked leaving, by the service
closing. Ended work gives its thread back within a few steps of the solver: see
warmbranch.base.stopping.
"""

from __future__ import annotations

import asyncio
import contextvars
import math
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict
from threading import Lock
from typing import TypeVar

from starlette.requests import Request

from warmbranch.base.errors import StoppedError
from warmbranch.base.stopping import Stop, under
from warmbranch.base.tally import Tally, kept_in
from warmbranch_service.contract.errors import CLIENT_LEFT, OVERLOADED, TIME_LIMIT, Kind, Problem
from warmbranch_service.http import metrics

Result = TypeVar("Result")

FIRST_GUESS_SECONDS = 0.1
"""Of one piece of work, until some have been seen: tells who is turned away when to come back."""

MEMORY = 0.05
"""Weight of the latest piece of work in their mean duration."""

LONGEST_WAIT = 60
"""s. Longest time to come back that is ever told."""

LEFT = "whoever asked has left"
TOO_LONG = "its time is up"
CLOSING = "the service is closing"
REASONS = {LEFT: "client left", TOO_LONG: "time limit", CLOSING: "closing"}
"""As the metrics tell them."""


class Workshop:
    """Runs work off the event loop.

    Parameters
    ----------
    at_once : int
        Threads that work side by side. More only fight over the interpreter lock.
    longest_queue : int
        Calls that may wait; further ones are refused with 503.
    seconds : float
        Longest that one call may take, waiting included, before it is ended with 503.
    """

    def __init__(self, *, at_once: int, longest_queue: int, seconds: float = 30.0) -> None:
        self.at_once = at_once
        self.seconds = seconds
        self.shed = 0
        self.ended: dict[str, int] = {LEFT: 0, TOO_LONG: 0, CLOSING: 0}
        self._pool = ThreadPoolExecutor(at_once, thread_name_prefix="solve")
        self._most = at_once + longest_queue
        self._typical = FIRST_GUESS_SECONDS
        self._lock = Lock()
        self._inside: set[Stop] = set()
        self._working = 0
        self._closed = False

    @property
    def working(self) -> int:
        """Threads at work."""
        return self._working

    @property
    def waiting(self) -> int:
        """Calls that wait for a thread."""
        return max(0, len(self._inside) - self._working)

    async def run(
        self, work: Callable[[], Result], asker: Request | None = None, *, patient: bool = False
    ) -> Result:
        """Run ``work`` in a thread and return what it returns.

        Parameters
        ----------
        work : callable
        asker : Request, optional
            Whose work it is, its body already read; when its client leaves, the work ends.
        patient : bool
            Wait for a place however long the queue: for an answer that has begun and goes on, which
            itself notices when its client leaves.

        Raises
        ------
        Problem
            ``overloaded`` at once when the queue is full, or when the service closes;
            ``time-limit`` when it took too long.
        """
        if self._closed:
            raise self._ended(CLOSING)
        if len(self._inside) >= self._most and not patient:
            self.shed += 1
            metrics.SHED.inc()
            raise self._overloaded(f"{len(self._inside)} requests are being worked on.")
        stop, done = Stop(), Tally()
        job = self._begin(work, stop, done)

        def end(reason: str) -> None:
            stop.set(reason)
            job.cancel()  # at once if it still waits; if not, ``stop`` ends it

        timer = asyncio.get_running_loop().call_later(self.seconds, end, TOO_LONG)
        watch = None
        if asker is not None and not patient:
            watch = asyncio.create_task(_tell_when_left(asker, end))
        try:
            return await asyncio.wrap_future(job)
        except (StoppedError, asyncio.CancelledError):
            cancelled = not stop.is_set  # this task itself is, for its client has left
            stop.set(LEFT)
            self.ended[stop.reason] += 1
            metrics.STOPPED.labels(REASONS[stop.reason]).inc()
            if cancelled:
                raise
            raise self._ended(stop.reason) from None
        finally:
            stop.set(CLOSING)  # no work outlives its call
            timer.cancel()
            if asker is not None:
                _add(done, asker)
            if watch is not None:
                watch.cancel()

    def end_all(self) -> None:
        """End everything that is under way, waits or is still to come; each is answered 503."""
        self._closed = True
        for stop in list(self._inside):
            stop.set(CLOSING)

    def _begin(self, work: Callable[[], Result], stop: Stop, done: Tally) -> Future[Result]:
        def under_way() -> Result:
            with self._lock:
                self._working += 1
            clock = time.perf_counter()
            try:
                stop.check()
                with under(stop), kept_in(done):
                    return work()
            finally:
                metrics.SOLVES.inc(done.solves)
                metrics.ITERATIONS.inc(done.iterations)
                spent = time.perf_counter() - clock
                with self._lock:
                    self._working -= 1
                    self._typical += MEMORY * (spent - self._typical)

        self._inside.add(stop)
        job = self._pool.submit(contextvars.copy_context().run, under_way)
        job.add_done_callback(lambda _: self._inside.discard(stop))
        return job

    def _overloaded(self, what: str, kind: Kind = OVERLOADED) -> Problem:
        wait = math.ceil(len(self._inside) * self._typical / self.at_once)
        wait = min(max(1, wait), LONGEST_WAIT)
        return Problem(kind, f"{what} Try again in {wait} s.", headers={"retry-after": str(wait)})

    def _ended(self, reason: str) -> Problem:
        if reason == TOO_LONG:
            limit = f"{self.seconds:g} s, the limit, have passed, and the work was ended."
            return self._overloaded(f"{limit} Ask for less at once:{LESS}", TIME_LIMIT)
        if reason == LEFT:
            return Problem(CLIENT_LEFT, "Nobody reads this.")
        return self._overloaded("The service is closing and another one may follow.")


LESS = (
    " fewer output times, conditions, points or operating points, or a shorter duration;"
    " or send the same when the service is less busy."
)


def _add(done: Tally, asker: Request) -> None:
    """Let the log tell what a request cost; one that streams adds up."""
    before: dict[str, int] = getattr(asker.state, "work", {})
    asker.state.work = {name: before.get(name, 0) + count for name, count in asdict(done).items()}


async def _tell_when_left(asker: Request, end: Callable[[str], None]) -> None:
    while True:
        message = await asker.receive()
        if message["type"] == "http.disconnect":
            end(LEFT)
            return
