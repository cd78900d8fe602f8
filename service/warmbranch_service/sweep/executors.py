"""Where the chunks of a sweep are solved: here, in processes of this machine, or on a cluster.

InProcess       one chunk after the other, in the thread that asks
ProcessPool     several processes of this machine: see processes.py
Cluster         a Dask cluster: see cluster.py

All give the same chunks in the same order, so that whoever writes them down need not know which it
is. Each chunk is complete in itself (see ``Task``): what a lost worker had is done again, and a
chunk is handed over once, whatever was done twice.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from warmbranch.base import stopping
from warmbranch_service.sweep.plan import Chunk, Plan, Task, remember
from warmbranch_service.sweep.solving import solve_task

LOOK_SECONDS = 0.1
"""How often whoever waits for a chunk looks whether it is to end: see warmbranch.base.stopping."""

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
            If the work of this context is to end: see warmbranch.base.stopping.
        """
        ...

    def close(self) -> None:
        """End what is under way and give everything back."""
        ...


class InProcess:
    """One chunk after the other, each when it is asked for."""

    def solved(self, plan: Plan, numbers: range) -> Iterator[Chunk]:
        """The chunks, in order."""
        remember(plan)
        for number in numbers:
            stopping.check()
            yield solve_task(plan.task(number))

    def close(self) -> None:
        """Nothing is held."""


def lost_too_often(task: Task) -> ExecutorError:
    """The failure of a chunk whose workers die again and again."""
    first, last = task.start, task.start + len(task.points) - 1
    return ExecutorError(
        f"Workers were lost {MOST_LOSSES + 1} times while designs {first} to {last} were solved. "
        "Look for a lack of memory where they run, then go on from there."
    )
