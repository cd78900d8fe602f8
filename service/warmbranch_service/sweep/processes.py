"""Solving the chunks of a sweep in several processes of this machine.

Each process has a connection of its own, and a thread here that hands it one chunk after the other.
A process that dies, be it amid an answer, closes its connection, so that nobody waits for the rest:
the queue that the processes of ``concurrent.futures`` share stays open then, and is waited for
without end.
"""

from __future__ import annotations

import contextlib
import signal
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait
from multiprocessing import get_context
from multiprocessing.connection import Connection
from threading import Lock, local
from typing import Any, NamedTuple

from warmbranch.base import stopping
from warmbranch.base.errors import StoppedError
from warmbranch_service.sweep.executors import LOOK_SECONDS, MOST_LOSSES, lost_too_often
from warmbranch_service.sweep.plan import Chunk, Plan, Task
from warmbranch_service.sweep.solving import solve_task

AHEAD = 2
"""Chunks a process that are handed out at once: one it works on, one that waits for it."""

_CONTEXT = get_context("spawn")
"""Not forked: this process has threads, which a fork would leave half way."""

Solve = Callable[[Task], Chunk]


class _Worker(NamedTuple):
    """A process, and this end of its connection."""

    process: Any
    connection: Connection


class ProcessPool:
    """Processes of this machine; those that die are replaced and what they had is done again.

    Parameters
    ----------
    workers : int
        Processes, about one a core.
    solve : callable, optional
        What a process does with a task.
    """

    def __init__(self, workers: int, solve: Solve = solve_task) -> None:
        self.workers = workers
        self._solve = solve
        self._threads: ThreadPoolExecutor | None = None
        self._of_thread = local()
        self._live: list[_Worker] = []
        self._lock, self._is_open = Lock(), False

    @property
    def processes(self) -> list[Any]:
        """Those that are alive."""
        return [worker.process for worker in self._live]

    def solved(self, plan: Plan, numbers: range) -> Iterator[Chunk]:
        """The chunks, in order."""
        handed_out: deque[Future[Chunk]] = deque()
        rest = iter(numbers)
        try:
            while True:
                while len(handed_out) < AHEAD * self.workers:
                    number = next(rest, None)
                    if number is None:
                        break
                    handed_out.append(self._opened().submit(self._done, plan.task(number)))
                if not handed_out:
                    return
                chunk = _awaited(handed_out[0])
                handed_out.popleft()
                yield chunk
        finally:
            for future in handed_out:
                future.cancel()

    def close(self) -> None:
        """End the processes; what they work on is given up."""
        with self._lock:
            self._is_open = False
            live, self._live = self._live, []
        for worker in live:
            worker.process.terminate()
        if self._threads is not None:  # each finds its connection closed
            self._threads.shutdown(wait=True, cancel_futures=True)
            self._threads, self._of_thread = None, local()
        for worker in live:
            worker.process.join()
            worker.connection.close()

    def _opened(self) -> ThreadPoolExecutor:
        if self._threads is None:
            self._is_open = True
            self._threads = ThreadPoolExecutor(self.workers, "sweep")
        return self._threads

    def _done(self, task: Task) -> Chunk:
        """What this thread's process makes of a task, or what takes its place if it is lost."""
        losses = 0
        while True:
            worker = self._worker()
            try:
                worker.connection.send(task)
                answer = worker.connection.recv()
            except (EOFError, OSError):
                self._lost(worker)
                losses += 1
                if losses > MOST_LOSSES:
                    raise lost_too_often(task) from None
                continue
            if isinstance(answer, Exception):
                raise answer
            return answer

    def _worker(self) -> _Worker:
        worker: _Worker | None = getattr(self._of_thread, "worker", None)
        if worker is None:
            here, there = _CONTEXT.Pipe()
            with self._lock:  # so that close() sees every process, or none is begun
                if not self._is_open:
                    raise StoppedError("the pool was closed")
                process = _CONTEXT.Process(target=_work, args=(there, self._solve), daemon=True)
                process.start()
                worker = _Worker(process, here)
                self._live.append(worker)
            there.close()  # the process alone holds it, and closes it by dying
            self._of_thread.worker = worker
        return worker

    def _lost(self, worker: _Worker) -> None:
        """Let go of a process that is dead, or as good as dead."""
        self._of_thread.worker = None
        with self._lock:
            if worker not in self._live:
                raise StoppedError("the pool was closed")
            self._live.remove(worker)
        worker.process.kill()
        worker.process.join()
        worker.connection.close()


def _work(connection: Connection, solve: Solve) -> None:
    """What a process does until nobody hands it anything any more."""
    # Ctrl-C reaches every process of a terminal; whoever handed the chunks out ends the workers.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(EOFError, OSError):  # whoever asks has gone
        while True:
            task = connection.recv()
            try:
                answer: Chunk | Exception = solve(task)
            except Exception as error:
                answer = error
            connection.send(answer)


def _awaited(future: Future[Chunk]) -> Chunk:
    stopping.check()  # chunks may be quicker than the look
    while not wait([future], timeout=LOOK_SECONDS).done:
        stopping.check()
    return future.result()
