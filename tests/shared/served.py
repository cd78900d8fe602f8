"""A service in a process of its own, and bytes sent to it as they are.

Served        the process
Line          one connection, to write to and to read answers from
"""

from __future__ import annotations

import contextlib
import http.client
import io
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from typing import NamedTuple

START_SECONDS = 120
HANG_SECONDS = 60
"""Whoever waits so long for an answer to a small request waits in vain, on any machine."""


class Served:
    """``warmbranch serve`` at a free port, with settings of its own; ends with the block."""

    def __init__(self, workers: int = 1, **settings: object) -> None:
        settings = {"seconds_per_request": 600} | settings
        given = {f"WARMBRANCH_{name.upper()}": str(value) for name, value in settings.items()}
        command = [sys.executable, "-m", "warmbranch_service", "serve", "--port", "0"]
        # A file and not a pipe: nobody reads on, and a full pipe would stop the service.
        self._log = tempfile.TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115 (closed with the block)
        self._process = subprocess.Popen(
            [*command, "--workers", str(workers)],
            stderr=self._log,
            env={**os.environ, **given},
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )
        try:
            self.port = self._port()
            self._wait_until_ready()
        except BaseException:
            self.__exit__()  # nobody else will: there is no block yet
            raise

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def supervisor(self) -> int:
        return self._process.pid

    @property
    def log(self) -> str:
        """All that it has told so far."""
        self._log.seek(0)
        return self._log.read()

    def _port(self) -> int:
        deadline = time.monotonic() + START_SECONDS
        while time.monotonic() < deadline and self._process.poll() is None:
            found = re.search(r"listens at http://127\.0\.0\.1:(\d+)", self.log)
            if found:
                return int(found[1])
            time.sleep(0.05)
        raise AssertionError(f"the service does not start: {self.log}")

    def _wait_until_ready(self) -> None:
        deadline = time.monotonic() + START_SECONDS
        while time.monotonic() < deadline:
            try:
                if self.get("/v1/ready") == 200:
                    return
            except OSError:
                pass
            time.sleep(0.05)
        raise AssertionError("the service does not start")

    def get(self, path: str) -> int:
        """Status of a plain request."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=HANG_SECONDS)
        try:
            line.request("GET", path)
            return line.getresponse().status
        finally:
            line.close()

    def __enter__(self) -> Served:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(HANG_SECONDS)
        self._log.close()


class Reply(NamedTuple):
    """One answer; names of headers in lower case."""

    status: int
    headers: dict[str, str]
    body: bytes


class Line:
    """One connection."""

    def __init__(self, port: int, timeout: float = HANG_SECONDS) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=timeout)

    def __enter__(self) -> Line:
        return self

    def __exit__(self, *_: object) -> None:
        self.socket.close()

    def send(self, content: bytes) -> None:
        """Send; whether the other side still listens does not matter."""
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            self.socket.sendall(content)

    def drip(self, parts: Iterable[bytes], pause: float) -> None:
        """Send part by part until the other side has had enough."""
        begun = time.monotonic()
        self.socket.settimeout(pause)
        for part in parts:
            assert time.monotonic() - begun < HANG_SECONDS, "it never has enough"
            self.send(part)
            try:
                if self.socket.recv(1, socket.MSG_PEEK) is not None:
                    break  # an answer, or the end
            except TimeoutError:
                continue
            except ConnectionResetError:
                break
        self.socket.settimeout(HANG_SECONDS)

    def half_close(self) -> None:
        """Send no more."""
        with contextlib.suppress(OSError):
            self.socket.shutdown(socket.SHUT_WR)

    def one(self) -> Reply:
        """The next answer, whole; the line is kept."""
        answer = http.client.HTTPResponse(self.socket)
        answer.begin()
        headers = {name.lower(): value for name, value in answer.getheaders()}
        return Reply(answer.status, headers, answer.read())

    def rest(self) -> bytes:
        """All that comes until the other side closes; ``TimeoutError`` if it does not."""
        parts = []
        try:
            while part := self.socket.recv(65536):
                parts.append(part)
        except ConnectionResetError:
            pass  # it closed with bytes of ours unread
        return b"".join(parts)


class _Kept(io.BytesIO):
    """``http.client`` closes what it reads from; several answers may stand in one."""

    def makefile(self, *_: object) -> _Kept:
        return self

    def close(self) -> None:
        pass


def replies(content: bytes) -> list[Reply]:
    """The whole answers in what came, provisional ones left out."""
    stream = _Kept(content)
    found: list[Reply] = []
    while stream.tell() < len(content):
        answer = http.client.HTTPResponse(stream)  # type: ignore[arg-type]
        try:
            answer.begin()
            body = answer.read()
        except (http.client.IncompleteRead, http.client.BadStatusLine):
            break  # cut off: the other side closed while we still sent
        headers = {name.lower(): value for name, value in answer.getheaders()}
        found.append(Reply(answer.status, headers, body))
    return found
