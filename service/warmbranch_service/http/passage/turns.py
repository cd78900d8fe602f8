"""Whose turn it is: questions before chunks of sweeps, and one client after the other.

Turns       what waits, taken in turn from each client
Task        one piece of work, with whoever waits for it
Places      how many sweeps are under way, in all and of one client
"""

from __future__ import annotations

import contextvars
import time
from collections import Counter, OrderedDict, deque
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, NamedTuple

from warmbranch.base.stopping import Stop
from warmbranch.base.tally import Tally
from warmbranch_service.contract.errors import OVERLOADED, Problem

SWEEP_RETRY_SECONDS = 10
"""Told to whoever asks for a sweep where as many are under way as may be."""


class Task:
    """One piece of work.

    Parameters
    ----------
    work : callable
    client : str
        Whose it is.
    is_chunk : bool
        Whether it is a chunk of a sweep, or a question.
    began : callable, optional
        Called in the thread that begins it.
    """

    def __init__(
        self,
        work: Callable[[], Any],
        *,
        client: str,
        is_chunk: bool,
        began: Callable[[], None] | None = None,
    ) -> None:
        self.work, self.client, self.is_chunk, self.began = work, client, is_chunk, began
        self.stop, self.done = Stop(), Tally()
        self.future: Future[Any] = Future()
        self.context = contextvars.copy_context()
        self.since = time.monotonic()


class Turns:
    """What waits. Within one client whoever came first is first; clients take turns."""

    def __init__(self) -> None:
        self._waiting: OrderedDict[str, deque[Task]] = OrderedDict()

    def __len__(self) -> int:
        return sum(map(len, self._waiting.values()))

    def put(self, task: Task) -> None:
        """Let one wait."""
        self._waiting.setdefault(task.client, deque()).append(task)

    def take(self) -> Task | None:
        """The next one, or None."""
        if not self._waiting:
            return None
        client, own = next(iter(self._waiting.items()))
        task = own.popleft()
        if own:
            self._waiting.move_to_end(client)
        else:
            del self._waiting[client]
        return task

    def remove(self, task: Task) -> None:
        """Let one wait no more; nothing where it does not."""
        own = self._waiting.get(task.client)
        if own is not None and task in own:
            own.remove(task)
            if not own:
                del self._waiting[task.client]

    def oldest(self) -> float | None:
        """Since when the one that waits longest has waited."""
        return min((own[0].since for own in self._waiting.values()), default=None)

    def gives_way_to(self, client: str) -> Task | None:
        """The latest of whoever lets most wait, if that is two more than a client's own."""
        if not self._waiting:
            return None
        greediest = max(self._waiting.values(), key=len)
        own = len(self._waiting.get(client, ()))
        return greediest[-1] if len(greediest) >= own + 2 else None


class SweepPlace(NamedTuple):
    """That of one sweep; given back once, by ``leave``."""

    leave: Callable[[], None]


class Places:
    """How many sweeps may be under way.

    Parameters
    ----------
    most, most_a_client : int
    """

    def __init__(self, most: int, most_a_client: int) -> None:
        self._most, self._most_a_client = most, most_a_client
        self._taken: Counter[str] = Counter()

    @property
    def taken(self) -> int:
        """Sweeps under way."""
        return self._taken.total()

    def look(self, client: str) -> None:
        """See that there is a place; raises as ``take`` does."""
        if self._taken[client] >= self._most_a_client:
            raise _full(f"You have {self._most_a_client} sweeps under way, as many as may be")
        if self.taken >= self._most:
            raise _full(f"{self._most} sweeps are under way, as many as may be")

    def take(self, client: str) -> SweepPlace:
        """A place.

        Raises
        ------
        Problem
            ``overloaded`` where there is none.
        """
        self.look(client)
        self._taken[client] += 1
        held = [client]

        def leave() -> None:
            if held:
                self._taken[held.pop()] -= 1
                self._taken += Counter()  # forgets who has none

        return SweepPlace(leave)


def _full(what: str) -> Problem:
    wait = SWEEP_RETRY_SECONDS
    return Problem(
        OVERLOADED, f"{what}. Try again in {wait} s.", headers={"retry-after": str(wait)}
    )
