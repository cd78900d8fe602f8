"""Where the chunks of a sweep are solved: here, in processes of this machine, or on a cluster.

InProcess       one chunk after the other, in the thread that asks
ProcessPool     several processes of this machine
Cluster         a Dask cluster: see cluster.py

All give the same chunks in the same order, so that whoever writes them down need not know which it
is. Each chunk is complete in itself (see ``Task``): what a lost worker had is done again, and a
chunk is handed over once, whatever was done twice.
"""

from __future__ import annotations

import signal
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Protocol

from warmbranch import stopping
from warmbranch_service.sweep.plan import Chunk, Plan, Task
from warmbranch_service.sweep.solving import solve_task

LOOK_SECONDS = 0.1
"""How often whoever waits for a chunk looks whether it is to end: see warmbranch.stopping."""

AHEAD = 2
"""Chunks a process that are handed out at once: one it works on, one that waits for it."""

MOST_LOSSES = 3
"""Times that workers may be lost while one and the same chunk is waited for."""


class ExecutorError(Exception):
    """Chunks cannot be solved there; its text says why and what to do."""


class Executor(Protocol):
    """Solves chunks somewhere."""

    def solved(self, plan: Plan, numbers: range) -> Iterator[Chunk]:
        """The chunks with these numbers, in order, each once.

        Raises
        ------
        ExecutorError
            If they cannot be solved there.
        StoppedError
            If the work of this context is to end: see warmbranch.stopping.
        """
        ...

    def close(self) -> None:
        """End what is under way and give everything back."""
        ...


class InProcess:
    """One chunk after the other, each when it is asked for."""

    def solved(self, plan: Plan, numbers: range) -> Iterator[Chunk]:
        """The chunks, in order."""
        for number in numbers:
            stopping.check()
            yield solve_task(plan.task(number))

    def close(self) -> None:
        """Nothing is held."""


class ProcessPool:
    """Processes of this machine; those that die are replaced and what they had is done again.

    Parameters
    ----------
    workers : int
        Processes, about one a core.
    """

    def __init__(self, workers: int) -> None:
        self.workers = workers
        self._pool: ProcessPoolExecutor | None = None

    def solved(self, plan: Plan, numbers: range) -> Iterator[Chunk]:
        """The chunks, in order."""
        handed_out: deque[tuple[Task, Future[Chunk]]] = deque()
        rest, losses = iter(numbers), 0
        try:
            while True:
                while len(handed_out) < AHEAD * self.workers:
                    number = next(rest, None)
                    if number is None:
                        break
                    task = plan.task(number)
                    handed_out.append((task, self._submit(task)))
                if not handed_out:
                    return
                try:
                    chunk = _awaited(handed_out[0][1])
                except BrokenProcessPool:
                    losses += 1
                    if losses > MOST_LOSSES:
                        raise lost_too_often(handed_out[0][0]) from None
                    self._replace(handed_out)
                    continue
                losses = 0
                handed_out.popleft()
                yield chunk
        finally:
            for _, future in handed_out:
                future.cancel()

    def close(self) -> None:
        """End the processes; what they work on is given up."""
        if self._pool is None:
            return
        processes = list((self._pool._processes or {}).values())  # pyright: ignore[reportPrivateUsage, reportUnknownMemberType, reportUnknownVariableType, reportUnknownArgumentType] # the only way to them before Python 3.14
        for process in processes:
            process.terminate()
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._pool = None

    def _submit(self, task: Task) -> Future[Chunk]:
        if self._pool is None:
            # Not forked: this process has threads, which a fork would leave half way.
            context = get_context("spawn")
            self._pool = ProcessPoolExecutor(self.workers, context, initializer=_in_a_worker)
        try:
            return self._pool.submit(solve_task, task)
        except BrokenProcessPool as error:  # found out here first: as if it had been handed out
            broken: Future[Chunk] = Future()
            broken.set_exception(error)
            return broken

    def _replace(self, handed_out: deque[tuple[Task, Future[Chunk]]]) -> None:
        """New processes, for what the lost ones had not given back."""
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None
        for place, (task, future) in enumerate(handed_out):
            if not future.done() or future.cancelled() or future.exception() is not None:
                handed_out[place] = (task, self._submit(task))


def lost_too_often(task: Task) -> ExecutorError:
    """The failure of a chunk whose workers die again and again."""
    first, last = task.start, task.start + len(task.points) - 1
    return ExecutorError(
        f"Workers were lost {MOST_LOSSES + 1} times while designs {first} to {last} were solved. "
        "Look for a lack of memory where they run, then go on from there."
    )


def _in_a_worker() -> None:
    # Ctrl-C reaches every process of a terminal; whoever handed the chunks out ends the workers.
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _awaited(future: Future[Chunk]) -> Chunk:
    stopping.check()  # chunks may be quicker than the look
    while not wait([future], timeout=LOOK_SECONDS).done:
        stopping.check()
    return future.result()
