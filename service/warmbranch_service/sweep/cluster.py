"""Solving the chunks of a sweep on a Dask cluster, several chunks a task.

Dask hands a lost worker's tasks, and finished ones whose result was lost with it, to others. The
request travels with each task, not as data of its own that a lost worker would take along.
"""

from __future__ import annotations

import asyncio
import importlib
import logging
import time
import uuid
from collections import deque
from collections.abc import Iterator
from threading import Event, Lock, Thread
from typing import Any, NamedTuple, cast

from warmbranch import core
from warmbranch.base import stopping
from warmbranch.base.errors import StoppedError
from warmbranch_service.sweep.executors import LOOK_SECONDS, ExecutorError
from warmbranch_service.sweep.plan import Chunk, Plan, Task
from warmbranch_service.sweep.solving import solve_task
from warmbranch_service.version import MODEL_VERSION

MOST_CHUNKS_A_TASK = 8
"""About a second of work: a task costs the scheduler a few milliseconds, see DEVELOPERS.md."""

TASKS_A_THREAD = 4
"""Handed out at once for each thread of the cluster: it must not idle while results travel."""

MOST_GATHERED = 8
"""Tasks whose results are fetched together: some 30 MB, however many are ready."""

CONNECT_SECONDS = 10.0
RECOUNT_SECONDS = 1.0
"""How often the cluster's threads are counted: workers come and go."""

WITHOUT_WORKERS_SECONDS = 60.0
"""How long a cluster may be without any worker, where whoever asks can wait for so long."""

LOST_SECONDS = 5.0
"""How long a scheduler may be away: a moment's loss of the network is got over."""

Result = tuple[Chunk, ...]


class Maker(NamedTuple):
    """What must be the same wherever lines are to be the same bytes."""

    model_version: str
    solver: str

    @classmethod
    def here(cls) -> Maker:
        """Of this process."""
        return cls(MODEL_VERSION, core.name())


class Cluster:
    """The workers of one Dask scheduler.

    Parameters
    ----------
    address : str
        Of the scheduler, ``tcp://host:8786``.
    without_workers : float, optional
        s. How long it may be without any worker.

    Raises
    ------
    ExecutorError
        By ``solved``: the extra is not installed, the scheduler cannot be reached, it has no
        workers, or a worker cannot do what this program can.
    """

    def __init__(self, address: str, without_workers: float | None = None) -> None:
        self.address = address
        self._patience = WITHOUT_WORKERS_SECONDS if without_workers is None else without_workers
        self._client: Any = None
        self._lock = Lock()

    def solved(self, plan: Plan, numbers: range) -> Iterator[Chunk]:
        """The chunks, in order."""
        client = self._connected()
        handed_out: deque[Any] = deque()
        try:
            yield from self._solved(client, plan, numbers, handed_out)
        except (ExecutorError, StoppedError):
            raise
        # Whatever Dask raises of a scheduler that has gone, an asyncio.CancelledError among it.
        except (Exception, asyncio.CancelledError) as error:
            if type(error).__name__ != "KilledWorker":  # a worker's end is not the scheduler's
                self._forget(client)
            raise self._failure(error) from error
        finally:
            if handed_out and client.status == "running":
                client.cancel(list(handed_out), force=True)

    def _solved(
        self, client: Any, plan: Plan, numbers: range, handed_out: deque[Any]
    ) -> Iterator[Chunk]:
        threads = _Threads(client, self.address, self._patience)
        maker = Maker.here()
        rest, sweep = numbers, uuid.uuid4().hex[:12]
        while True:
            room = TASKS_A_THREAD * threads.count()
            while rest and len(handed_out) < room:
                size = min(MOST_CHUNKS_A_TASK, max(1, len(rest) // room))
                tasks = [plan.task(number) for number in rest[:size]]
                rest = rest[size:]
                key = f"warmbranch-sweep-{sweep}-{tasks[0].number}"
                handed_out.append(client.submit(solve_tasks, tasks, maker, key=key))
            if not handed_out:
                return
            yield from self._first_done(client, handed_out, threads)

    def close(self) -> None:
        """Leave the cluster; its workers stay."""
        if self._client is not None:
            self._client.close()
            self._client = None

    def _forget(self, client: Any) -> None:
        """Let go of a client whose scheduler has gone; the next sweep makes another one."""
        with self._lock:
            if self._client is client:
                self._client = None
        # It may take its time to see that nobody is there.
        Thread(target=client.close, kwargs={"timeout": 1}, daemon=True).start()

    def _connected(self) -> Any:
        with self._lock:
            if self._client is not None and self._client.status not in ("running", "connecting"):
                self._client = None
            if self._client is None:
                self._client = self._connection()
            return self._client

    def _connection(self) -> Any:
        distributed = _distributed()
        # It tells of every lost worker; what is lost for good is told by a failure.
        logging.getLogger("distributed").setLevel(logging.CRITICAL)
        logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
        try:
            return distributed.Client(
                self.address, timeout=CONNECT_SECONDS, set_as_default=False, asynchronous=False
            )
        except (OSError, ValueError, TypeError) as error:
            raise ExecutorError(
                f"The scheduler at {self.address} cannot be reached ({_brief(error)}). Give its "
                "address as tcp://host:8786; dask scheduler tells it when it starts."
            ) from None

    def _first_done(self, client: Any, handed_out: deque[Any], threads: _Threads) -> list[Chunk]:
        """Results at the head of the queue, as many as there are, at least one."""
        stopping.check()  # tasks may be quicker than the look
        first, done = handed_out[0], Event()

        def tell(_: Any) -> None:
            done.set()

        first.add_done_callback(tell)
        away = 0.0
        while not done.wait(LOOK_SECONDS):
            stopping.check()
            away = 0.0 if client.status == "running" else away + LOOK_SECONDS
            if away > LOST_SECONDS:
                self._forget(client)
                raise ExecutorError(f"The scheduler at {self.address} is lost. Start it again.")
            if not away:
                threads.count()
        ready = [first]
        for future in list(handed_out)[1:]:
            if not future.done() or len(ready) == MOST_GATHERED:
                break
            ready.append(future)
        results = cast("list[Result]", client.gather(ready))
        for _ in ready:
            handed_out.popleft()  # let go of, and so forgotten by the cluster
        return [chunk for result in results for chunk in result]

    def _failure(self, error: BaseException) -> ExecutorError:
        if type(error).__name__ == "KilledWorker":
            return ExecutorError(
                f"Workers were lost again and again over the same designs: {_brief(error)} Look "
                "for a lack of memory where they run, then go on from there."
            )
        return ExecutorError(
            f"The cluster at {self.address} failed: {_brief(error)}. The scheduler and every "
            "worker need what runs here: pip install 'warmbranch[cluster]', the same version."
        )


class _Threads:
    """How many threads the cluster has, asked again now and then."""

    def __init__(self, client: Any, address: str, patience: float) -> None:
        self._client, self._address, self._patience = client, address, patience
        self._count, self._asked, self._seen = 0, -RECOUNT_SECONDS, time.monotonic()

    def count(self) -> int:
        """Threads, 1 at least; fails when there have been none for long."""
        now = time.monotonic()
        if now - self._asked >= RECOUNT_SECONDS:
            self._count, self._asked = sum(self._client.nthreads().values()), now
            if self._count:
                self._seen = now
        if now - self._seen > self._patience:
            raise ExecutorError(
                f"The scheduler at {self._address} has had no worker for "
                f"{self._patience:.0f} s. Start some, dask worker {self._address}, and "
                "go on."
            )
        return max(1, self._count)


def solve_tasks(tasks: list[Task], asked: Maker) -> Result:
    """What a worker does.

    Raises
    ------
    ExecutorError
        It would make other bytes than who asks.
    """
    own = Maker.here()
    if own != asked:
        raise ExecutorError(
            f"A worker is not as this program is: {own._asdict()}, not {asked._asdict()}. Install "
            "the same version everywhere, set WARMBRANCH_KERNEL alike, and let all have "
            "processors of one kind."
        )
    return tuple(solve_task(task) for task in tasks)


def _distributed() -> Any:
    try:
        return importlib.import_module("distributed")
    except ImportError:
        raise ExecutorError(
            "A cluster needs Dask, which is not installed here: pip install 'warmbranch[cluster]'."
        ) from None


def _brief(error: BaseException) -> str:
    text = str(error).strip() or type(error).__name__
    return text.splitlines()[0]
