"""How much a worker's event loop works, and how much it waits for a core."""

from __future__ import annotations

import time
from pathlib import Path


class LoopClock:
    """What the thread of a worker's event loop does: work, wait for a core, or neither.

    Linux counts both for each thread. What it waits for a core is other processes' doing.
    """

    def __init__(self, pid: int) -> None:
        self._path = Path(f"/proc/{pid}/task/{pid}/schedstat")

    def start(self) -> None:
        self._begun = self._look()

    def stop(self) -> None:
        self._ended = self._look()

    def shares(self) -> tuple[float, float]:
        """Of the time from start to stop."""
        spent, worked, waited = (b - a for a, b in zip(self._begun, self._ended, strict=True))
        return worked / spent, waited / spent

    def _look(self) -> tuple[float, float, float]:
        worked, waited, _ = map(int, self._path.read_text().split())
        return time.monotonic(), worked / 1e9, waited / 1e9
