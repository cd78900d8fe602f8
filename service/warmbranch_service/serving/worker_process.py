"""A worker as its supervisor sees it: a process that tells that it serves, and that it lives."""

from __future__ import annotations

import logging
import os
import signal
import socket
import subprocess
import sys
import time

log = logging.getLogger("warmbranch")

START_SECONDS = 60.0
"""A worker that does not serve by then is taken for broken."""

HUNG_SECONDS = 30.0
"""A worker that serves tells every second that its event loop turns; one that has not for so long
hangs, or was stopped."""

KILLED_SECONDS = 1.0
"""Longest wait for the end of what was killed: what hangs in the kernel is not worth more."""

SERVES, LIVES = b"1", b"."
"""What a worker writes."""

HINTS = {
    signal.SIGBUS: "there may be no room where its files are, those of the metrics among them",
    signal.SIGKILL: "somebody killed it, or the machine had no memory left",
}


class Worker:
    """One worker process.

    Parameters
    ----------
    listener : socket
    environment : dict
    """

    def __init__(self, listener: socket.socket, environment: dict[str, str]) -> None:
        self._status, told = os.pipe()
        os.set_blocking(self._status, False)
        inherited = (listener.fileno(), told)
        command = [sys.executable, "-m", "warmbranch_service.serving.entry", *map(str, inherited)]
        try:
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,  # its end tells a worker that the supervisor has gone
                pass_fds=inherited,
                env=environment,
                start_new_session=True,  # Ctrl-C reaches the supervisor alone
            )
        finally:
            os.close(told)
        self._born = self._heard = time.monotonic()
        self._serves = False

    @property
    def pid(self) -> int:
        """Its process."""
        return self._process.pid

    @property
    def serves(self) -> bool:
        """Whether it has told that it takes connections."""
        self._listen()
        return self._serves

    @property
    def is_alive(self) -> bool:
        """Whether it runs."""
        return self._process.poll() is None

    @property
    def is_late(self) -> bool:
        """Whether it should serve by now and does not."""
        return not self.serves and time.monotonic() - self._born > START_SECONDS

    @property
    def is_hung(self) -> bool:
        """Whether it serves but has given no sign of life for long."""
        return self.serves and time.monotonic() - self._heard > HUNG_SECONDS

    def how_it_ended(self) -> str:
        """By which signal or with which status, in words."""
        status = self._process.returncode
        if status is None or status >= 0:
            return f"with status {status}"
        number = signal.Signals(-status)
        hint = f": {HINTS[number]}" if number in HINTS else ""
        return f"by {number.name}{hint}"

    def close(self) -> None:
        """Tell it to finish."""
        if self.is_alive:
            self._process.terminate()

    def wait(self, seconds: float) -> None:
        """Wait for its end; cut it short after some seconds."""
        try:
            self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            log.error("worker %d does not end and is killed", self.pid)
            self.kill()

    def kill(self) -> None:
        """End it at once."""
        self._process.kill()
        try:
            self._process.wait(KILLED_SECONDS)
        except subprocess.TimeoutExpired:
            log.error("worker %d was killed and is still there", self.pid)

    def end_at_last(self) -> None:
        """End it at once, and do not wait for it."""
        self._process.kill()

    def forget(self) -> None:
        """Give back what a process that has ended holds here."""
        if self._status >= 0:
            os.close(self._status)
            self._status = -1
        if self._process.stdin is not None:
            self._process.stdin.close()

    def _listen(self) -> None:
        if self._status < 0:
            return
        try:
            told = os.read(self._status, 4096)
        except BlockingIOError:
            return
        if told:
            self._heard = time.monotonic()
            self._serves = self._serves or SERVES in told
