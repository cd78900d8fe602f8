"""How much a worker's event loop works, how much it waits for a core, and how late it turns."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import NamedTuple

from shared.running import ask

LATE = re.compile(rb'^warmbranch_loop_late_seconds_bucket\{le="([^"]+)"\} (\S+)$', re.MULTILINE)


class Look(NamedTuple):
    """At one time, s: so long the thread has worked, so long it has waited for a core."""

    time: float
    worked: float
    waited: float
    late: dict[float, float]
    """Looks of the loop at itself that were late by no more than so many seconds."""


class LoopClock:
    """What the thread of a worker's event loop does: work, wait for a core, or neither.

    Linux counts both for each thread. What it waits for a core is other processes' doing. How late
    it turns, for whatever reason, is the service's own metric; of one worker alone.
    """

    def __init__(self, pid: int, port: int) -> None:
        self._path = Path(f"/proc/{pid}/task/{pid}/schedstat")
        self._port = port

    def start(self) -> None:
        self._begun = self._look()

    def stop(self) -> None:
        self._ended = self._look()

    def shares(self) -> tuple[float, float]:
        """Of the time from start to stop."""
        begun, ended = self._begun, self._ended
        spent = ended.time - begun.time
        return (ended.worked - begun.worked) / spent, (ended.waited - begun.waited) / spent

    def late(self, share: float = 0.99) -> float:
        """The least bound of the metric that holds such a share of the looks since the start, s."""
        found = {edge: self._ended.late[edge] - self._begun.late[edge] for edge in self._ended.late}
        whole = max(found.values())
        return min(edge for edge, count in found.items() if count >= share * whole)

    def _look(self) -> Look:
        worked, waited, _ = map(int, self._path.read_text().split())
        told = ask(self._port, "GET", "/v1/metrics")[1]
        late = {float(edge): float(count) for edge, count in LATE.findall(told)}
        return Look(time.monotonic(), worked / 1e9, waited / 1e9, late)
