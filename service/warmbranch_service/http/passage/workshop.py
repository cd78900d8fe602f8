"""Where solves run: in few threads off the event loop, behind a short queue.

Questions go before chunks of sweeps, one thread is kept from chunks where there are two, and
clients take turns: see turns.py. A chunk that has waited for long goes before questions all the
same, so that a sweep goes on under whatever load.

Written here: a pool of concurrent.futures, or AnyIO's limiter, serves whoever came first, knows of
no clients, and ends nothing that has begun.

Every piece of work can be ended: by its time limit, by whoever asked leaving, by the service
closing. Ended work gives its thread back within a few steps of the solver: see
warmbranch.base.stopping.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from threading import Lock
from typing import TypeVar

from starlette.requests import Request

from warmbranch.base.errors import StoppedError
from warmbranch.base.stopping import Stop, under
from warmbranch.base.tally import Tally, counted_into
from warmbranch_service.contract.errors import CLIENT_LEFT, OVERLOADED, TIME_LIMIT, Kind, Problem
from warmbranch_service.http.passage import metrics
from warmbranch_service.http.passage.turns import Task, Turns

Result = TypeVar("Result")

FIRST_GUESS_SECONDS = 0.1
"""Of one piece of work, until some have been seen: tells who is turned away when to come back."""

MEMORY = 0.05
"""Weight of the latest piece of work in their mean duration."""

LONGEST_WAIT = 60
"""s. Longest time to come back that is ever told."""

LONGEST_PATIENCE = 5.0
"""s. A chunk that has waited for longer goes before questions."""

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
        Questions that may wait; further ones are refused with 503, or those of a client that lets
        more wait.
    seconds : float
        Longest that one call may take, waiting included, before it is ended with 503; of a chunk
        of an answer that has begun, without its waiting.
    chunks_elsewhere : int
        Where chunks are solved by other machines: how many may be waited for at once, each in a
        thread beside the others. 0 where they are solved here.
    """

    def __init__(
        self,
        *,
        at_once: int,
        longest_queue: int,
        seconds: float = 30.0,
        chunks_elsewhere: int = 0,
    ) -> None:
        self.at_once = at_once
        self.seconds = seconds
        self.shed = 0
        self.ended: dict[str, int] = {LEFT: 0, TOO_LONG: 0, CLOSING: 0}
        self._elsewhere = chunks_elsewhere > 0
        self._most_chunks = chunks_elsewhere or max(1, at_once - 1)
        self._pool = ThreadPoolExecutor(at_once + chunks_elsewhere, thread_name_prefix="solve")
        self._most = at_once + longest_queue
        self._typical = FIRST_GUESS_SECONDS
        self._lock = Lock()
        self._inside: set[Stop] = set()  # of questions
        self._chunks_inside: set[Stop] = set()
        self._questions, self._chunks = Turns(), Turns()
        self._working = self._working_chunks = 0
        self._closed = False

    @property
    def working(self) -> int:
        """Threads at work."""
        return self._working

    @property
    def waiting(self) -> int:
        """Calls that wait for a thread."""
        return max(0, len(self._inside) + len(self._chunks_inside) - self._working)

    async def run(
        self,
        work: Callable[[], Result],
        asker: Request | None = None,
        *,
        chunk: bool = False,
        patient: bool = False,
    ) -> Result:
        """Run ``work`` in a thread and return what it returns.

        Parameters
        ----------
        work : callable
        asker : Request, optional
            Whose work it is, its body already read; when its client leaves, the work ends.
        chunk : bool
            A chunk of a sweep, which waits while there are questions. How many sweeps there are is
            limited elsewhere, so none is turned away here.
        patient : bool
            Its time is counted from its begin, and it does not look whether its client leaves: for
            an answer that has begun and goes on, which itself notices.

        Raises
        ------
        Problem
            ``overloaded`` at once when the queue is full, or when the service closes;
            ``time-limit`` when it took too long.
        """
        if self._closed:
            raise self._ended(CLOSING)
        client = client_of(asker)
        if not chunk and len(self._inside) >= self._most:
            self._shed_for(client)
        loop = asyncio.get_running_loop()
        timers: list[asyncio.TimerHandle] = []

        def start_timer() -> None:
            if not task.future.done():
                timers.append(loop.call_later(self.seconds, end, TOO_LONG))

        def end(reason: str) -> None:
            task.stop.set(reason)
            self._cancel(task)  # at once if it still waits; if not, ``stop`` ends it

        began = (lambda: _from_thread(loop, start_timer)) if patient else None
        task = Task(work, client=client, is_chunk=chunk, began=began)
        if not patient:
            start_timer()
        self._put(task)
        watch = None
        if asker is not None and not patient:
            watch = asyncio.create_task(_tell_when_left(asker, end))
        stop = task.stop
        try:
            return await asyncio.wrap_future(task.future)
        except (StoppedError, asyncio.CancelledError):
            cancelled = not stop.is_set  # this task itself is, for its client has left
            stop.set(LEFT)
            self.ended[stop.reason] += 1
            metrics.STOPPED.labels(REASONS[stop.reason]).inc()
            if cancelled:
                self._cancel(task)
                raise
            raise self._ended(stop.reason) from None
        finally:
            stop.set(CLOSING)  # no work outlives its call
            for timer in timers:
                timer.cancel()
            if asker is not None:
                _add(task.done, asker)
            if watch is not None:
                watch.cancel()

    def end_all(self) -> None:
        """End everything that is under way, waits or is still to come; each is answered 503."""
        self._closed = True
        for stop in [*self._inside, *self._chunks_inside]:
            stop.set(CLOSING)

    def _shed_for(self, client: str) -> None:
        """Turn away somebody who lets more wait than a client, or else the client."""
        self.shed += 1
        metrics.SHED.inc()
        refusal = self._overloaded(f"{len(self._inside)} requests are being worked on.")
        with self._lock:
            other = self._questions.gives_way_to(client)
            if other is not None:
                self._questions.remove(other)
        if other is None or not other.future.set_running_or_notify_cancel():
            raise refusal
        other.future.set_exception(refusal)

    def _put(self, task: Task) -> None:
        inside = self._chunks_inside if task.is_chunk else self._inside
        inside.add(task.stop)
        task.future.add_done_callback(lambda _: inside.discard(task.stop))
        with self._lock:
            (self._chunks if task.is_chunk else self._questions).put(task)
            begun = list(self._begun())
        for one in begun:
            self._pool.submit(one.context.run, self._do, one)

    def _cancel(self, task: Task) -> None:
        """Let a task go that has not begun."""
        if task.future.cancel():
            with self._lock:
                (self._chunks if task.is_chunk else self._questions).remove(task)

    def _begun(self) -> Iterator[Task]:
        """Jobs that are begun now; the lock is held."""
        while (task := self._next()) is not None:
            if task.future.set_running_or_notify_cancel():
                self._working += 1
                self._working_chunks += task.is_chunk
                yield task

    def _next(self) -> Task | None:
        free = self.at_once - self._working
        if self._elsewhere:
            free += self._working_chunks
        has_chunks = self._working_chunks < self._most_chunks and (self._elsewhere or free > 0)
        oldest = self._chunks.oldest()
        if has_chunks and oldest is not None and time.monotonic() - oldest > LONGEST_PATIENCE:
            return self._chunks.take()
        question = self._questions.take() if free > 0 else None
        return self._chunks.take() if question is None and has_chunks else question

    def _do(self, task: Task) -> None:
        """Do one piece of work, in a thread."""
        clock = time.perf_counter()
        try:
            if task.began is not None:
                task.began()
            task.stop.check()
            with under(task.stop), counted_into(task.done):
                result = task.work()
        except BaseException as error:
            end, told = task.future.set_exception, error
        else:
            end, told = task.future.set_result, result
        metrics.SOLVES.inc(task.done.solves)
        metrics.ITERATIONS.inc(task.done.iterations)
        spent = time.perf_counter() - clock
        with self._lock:
            self._working -= 1
            self._working_chunks -= task.is_chunk
            if not task.is_chunk:
                self._typical += MEMORY * (spent - self._typical)
            begun = list(self._begun())
        for one in begun:
            self._pool.submit(one.context.run, self._do, one)
        end(told)

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


def client_of(asker: Request | None) -> str:
    """Whose request it is: what the gate knows of it, a key or an address."""
    return "" if asker is None else getattr(asker.state, "client", "")


def _from_thread(loop: asyncio.AbstractEventLoop, what: Callable[[], None]) -> None:
    with contextlib.suppress(RuntimeError):  # the loop has closed; nobody waits any more
        loop.call_soon_threadsafe(what)


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
