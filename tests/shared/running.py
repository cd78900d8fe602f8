"""``warmbranch serve`` in processes of its own, as whoever runs a service starts it."""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

START_SECONDS = 120.0
"""A start takes two seconds on a quiet machine."""

GIVE_UP = 120.0
"""s. Whoever waits so long waits in vain, on any machine."""

PATIENT = {"WARMBRANCH_SECONDS_PER_REQUEST": "600"}
"""What no test is about should not end on a busy machine."""

QUICK = {"WARMBRANCH_WARM_UP": "0", "WARMBRANCH_KERNEL": "off"}
"""Settings of a service that starts at once."""


_HELD: list[socket.socket] = []


def free_port() -> int:
    """A port that nobody listens at, and that nobody else is given while these tests run.

    It stays bound here without listening: the kernel gives it to nobody who asks for any port, and
    lets whoever asks for it by its number listen, as both say that the address may be used again.
    """
    held = socket.socket()
    held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    held.bind(("127.0.0.1", 0))
    _HELD.append(held)
    return int(held.getsockname()[1])


def ask(port: int, method: str, path: str, body: bytes | None = None) -> tuple[int, bytes]:
    """One request on a connection of its own; status and body of the answer."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=GIVE_UP)
    try:
        headers = {} if body is None else {"content-type": "application/json"}
        connection.request(method, path, body, headers)
        response = connection.getresponse()
        return response.status, response.read()
    finally:
        connection.close()


class Service:
    """A supervisor and its workers.

    Parameters
    ----------
    log : path
        Where its standard error goes.
    workers : int
    port : int, optional
        Any free one when left out.
    options : str
        Further words of the command line.
    settings : str
        Environment variables.
    """

    def __init__(
        self,
        log: Path,
        *options: str,
        workers: int = 1,
        port: int | None = None,
        **settings: str,
    ) -> None:
        self.port = free_port() if port is None else port
        self.size = workers
        self.log = log
        self._command = [
            *(sys.executable, "-m", "warmbranch_service", "serve"),
            *("--port", str(self.port), "--workers", str(workers), *options),
        ]
        self._settings = PATIENT | settings
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Service:
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def start(self) -> None:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                self._command, stdout=log, stderr=log, env=os.environ | self._settings
            )

    @property
    def process(self) -> subprocess.Popen[bytes]:
        assert self._process is not None, "it was not started"
        return self._process

    def tell(self, number: int) -> None:
        """Send the supervisor a signal."""
        self.process.send_signal(number)

    def stop(self, seconds: float = GIVE_UP) -> int:
        """SIGTERM, and its exit status once it has gone."""
        self.tell(signal.SIGTERM)
        try:
            return self.process.wait(seconds)
        finally:
            if self.process.poll() is None:
                self.process.kill()

    def workers(self) -> list[int]:
        """Processes of the workers."""
        pid = self.process.pid
        found = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        return [int(child) for child in found]

    def number(self, name: str) -> float:
        """What ``/v1/metrics`` says of a number without labels, summed over the workers."""
        text = ask(self.port, "GET", "/v1/metrics")[1].decode()
        found = re.search(rf"^warmbranch_{name} (\S+)$", text, re.MULTILINE)
        return float(found[1]) if found else 0.0

    def wait_for(self, name: str, value: float) -> float:
        """Wait until a number has a value; how long that took, in seconds."""
        start = time.monotonic()
        while time.monotonic() < start + START_SECONDS:
            with contextlib.suppress(OSError, http.client.HTTPException):
                if self.number(name) == value:
                    return time.monotonic() - start
            if self.process.poll() is not None:
                break
            time.sleep(0.05)
        raise RuntimeError(f"no {name} of {value}; the log ends: {self.log.read_text()[-2000:]}")

    def wait_until_ready(self, *, compiled: bool = False) -> None:
        """Wait until every worker takes work; if asked, until each has its compiled core."""
        self.wait_for("ready_workers", self.size)
        if compiled:
            self.wait_for("compiled_workers", self.size)


def resident_MiB(pid: int) -> float:
    """Memory that a process holds, MiB."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def until(true: Callable[[], bool], seconds: float = GIVE_UP) -> float:
    """Wait until something is so; seconds that it took."""
    start = time.monotonic()
    while not true():
        assert time.monotonic() - start < seconds, "it does not come about"
        time.sleep(0.05)
    return time.monotonic() - start
