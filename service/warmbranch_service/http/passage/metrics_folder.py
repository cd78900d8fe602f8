"""Where the workers of a service count for one another: mapped files in a folder of their own.

A mapped file on a full disk ends the process that writes to it, by SIGBUS. So a worker reserves
the room of its files before it maps them; where there is none, it counts for itself alone.

MetricsFolder      the supervisor's: made, given to workers, removed
reserve            a worker's, before anything counts
"""

from __future__ import annotations

import contextlib
import fcntl
import logging
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

log = logging.getLogger("warmbranch")

DIRECTORY = "PROMETHEUS_MULTIPROC_DIR"
PREFIX = "warmbranch-metrics-"
KINDS = ("counter", "gauge_livesum", "histogram")
"""Of the files that prometheus_client maps for what http/passage/metrics.py counts."""

RESERVED = 128 * 1024
"""Bytes of each: all series that there are take about half."""

OWNER = "owner"


class MetricsFolder:
    """A folder of a supervisor; what killed ones left behind is removed."""

    def __init__(self) -> None:
        self._path: Path | None = None
        self._owner = -1
        try:
            for stale in _stale():
                shutil.rmtree(stale, ignore_errors=True)
            self._path = Path(tempfile.mkdtemp(prefix=PREFIX))
            self._owner = os.open(self._path / OWNER, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            fcntl.flock(self._owner, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            log.warning("metrics are counted by each worker alone: %s", error.strerror)
            self.remove()

    @property
    def environment(self) -> dict[str, str]:
        """What a worker is given."""
        return {} if self._path is None else {DIRECTORY: str(self._path)}

    def forget(self, pid: int) -> None:
        """Drop the gauges of a worker that has gone."""
        if self._path is not None:
            for file in self._path.glob(f"gauge_live*_{pid}.db"):
                file.unlink(missing_ok=True)

    def remove(self) -> None:
        """Remove it."""
        if self._owner >= 0:
            os.close(self._owner)
            self._owner = -1
        if self._path is not None:
            shutil.rmtree(self._path, ignore_errors=True)
            self._path = None


def _stale() -> Iterator[Path]:
    """Folders of this user whose supervisor has gone, which its lock tells."""
    for path in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        with contextlib.suppress(OSError):
            if path.is_symlink() or path.stat().st_uid != os.getuid():
                continue
            owner = os.open(path / OWNER, os.O_RDWR | os.O_NOFOLLOW)
            try:
                fcntl.flock(owner, fcntl.LOCK_EX | fcntl.LOCK_NB)
                yield path
            finally:
                os.close(owner)


def reserve() -> None:
    """Reserve the room of this process's files; where there is none, count for itself."""
    folder = os.environ.get(DIRECTORY)
    if folder is None:
        return
    made: list[Path] = []
    try:
        for kind in KINDS:
            made.append(Path(folder) / f"{kind}_{os.getpid()}.db")
            with made[-1].open("xb") as file:
                os.posix_fallocate(file.fileno(), 0, RESERVED)
    except OSError as error:
        for file in made:
            file.unlink(missing_ok=True)
        del os.environ[DIRECTORY]
        log.warning(
            "this worker counts for itself alone, and /v1/metrics tells of one worker at a time: "
            "%s has no room (%s)",
            folder,
            error.strerror,
        )
