"""``warmbranch serve``: binds the address, keeps the workers alive, and closes in good order.

The supervisor owns the listening socket, and so a worker that dies loses only what it was working
on: the others take what waits, and another worker takes its place. It loads neither the model nor
the framework.

SIGTERM, SIGINT   close: see server.py
SIGHUP            replace the workers one by one, without a gap: for new code
"""

from __future__ import annotations

import logging
import os
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from types import FrameType

from warmbranch_service import MODEL_VERSION
from warmbranch_service.http.logs import configure
from warmbranch_service.http.settings import Settings

log = logging.getLogger("warmbranch")

BACKLOG = 2048
"""Connections that the kernel holds until a worker takes them."""

START_SECONDS = 60.0
"""A worker that does not serve by then is taken for broken."""

MOST_FALSE_STARTS = 5
"""Workers in a row that die before they serve; then something is broken that another one will not
mend."""

PATIENCE = 15.0
"""s beyond the grace time after which a worker that was told to close is killed: far more than
server.py needs."""

PAUSE = 0.1
"""s between two looks at the workers."""


class Worker:
    """One worker process.

    Parameters
    ----------
    listener : socket
    environment : dict
    """

    def __init__(self, listener: socket.socket, environment: dict[str, str]) -> None:
        self._status, told = os.pipe()
        inherited = (listener.fileno(), told)
        command = [sys.executable, "-m", "warmbranch_service.serving.worker", *map(str, inherited)]
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,  # its end tells a worker that the supervisor has gone
            pass_fds=inherited,
            env=environment,
            start_new_session=True,  # Ctrl-C reaches the supervisor alone, which closes in order
        )
        os.close(told)
        self._born = time.monotonic()
        self._serves = False

    @property
    def pid(self) -> int:
        """Its process."""
        return self._process.pid

    @property
    def serves(self) -> bool:
        """Whether it has told that it takes connections."""
        if not self._serves and self._status >= 0 and select.select([self._status], [], [], 0)[0]:
            self._serves = os.read(self._status, 1) == b"1"
            os.close(self._status)
            self._status = -1
        return self._serves

    @property
    def is_alive(self) -> bool:
        """Whether it runs."""
        return self._process.poll() is None

    @property
    def is_late(self) -> bool:
        """Whether it should serve by now and does not."""
        return not self.serves and time.monotonic() - self._born > START_SECONDS

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
        self._process.wait()


class Supervisor:
    """Keeps so many workers serving on one socket until told to close.

    Parameters
    ----------
    listener : socket
        Bound and listening.
    workers : int
    settings : Settings
    """

    def __init__(self, listener: socket.socket, *, workers: int, settings: Settings) -> None:
        self._listener = listener
        self._size = workers
        self._settings = settings
        self._workers: list[Worker] = []
        self._false_starts = 0
        self._closing = threading.Event()
        self._renewing = False
        self._metrics = Path(tempfile.mkdtemp(prefix="warmbranch-metrics-"))

    def run(self) -> bool:
        """Serve; whether it closed because it was told to."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._told_to_close)
        signal.signal(signal.SIGHUP, self._told_to_renew)
        try:
            self._workers = [self._begin() for _ in range(self._size)]
            while not self._closing.wait(PAUSE):
                if self._renewing:
                    self._renewing = False
                    self._renew()
                self._workers = [self._kept(worker) for worker in self._workers]
                if self._false_starts >= MOST_FALSE_STARTS:
                    log.error("%d workers in a row did not start; giving up", self._false_starts)
                    break
            self._close()
        finally:
            for worker in self._workers:
                if worker.is_alive:
                    worker.kill()
            shutil.rmtree(self._metrics, ignore_errors=True)
        return self._closing.is_set()

    def _told_to_close(self, number: int, _: FrameType | None) -> None:
        self._closing.set()

    def _told_to_renew(self, number: int, _: FrameType | None) -> None:
        self._renewing = True

    def _begin(self) -> Worker:
        environment = {**os.environ, "PROMETHEUS_MULTIPROC_DIR": str(self._metrics)}
        return Worker(self._listener, environment)

    def _kept(self, worker: Worker) -> Worker:
        """The worker, or another one in its place."""
        if worker.is_late:
            log.error("worker %d does not start and is killed", worker.pid)
            worker.kill()
        if worker.is_alive:
            if worker.serves:
                self._false_starts = 0
            return worker
        self._false_starts = 0 if worker.serves else self._false_starts + 1
        self._forget(worker)
        if self._false_starts >= MOST_FALSE_STARTS:
            return worker
        another = self._begin()
        log.error("worker %d has died; worker %d takes its place", worker.pid, another.pid)
        return another

    def _renew(self) -> None:
        """Replace the workers, each only once its successor serves."""
        for index, old in enumerate(self._workers):
            new = self._begin()
            while new.is_alive and not new.serves and not new.is_late:
                if self._closing.wait(PAUSE):
                    new.kill()
                    return
            if not new.serves:
                log.error("worker %d does not start; the old ones serve on", new.pid)
                new.kill()
                return
            self._workers[index] = new
            old.close()
            old.wait(self._settings.grace_seconds + PATIENCE)
            self._forget(old)
            log.info("worker %d has taken over from %d", new.pid, old.pid)

    def _close(self) -> None:
        # Before the workers are told: the last of them to close its own copy takes what waits.
        self._listener.close()
        for worker in self._workers:
            worker.close()
        deadline = time.monotonic() + self._settings.grace_seconds + PATIENCE
        for worker in self._workers:
            worker.wait(max(0.1, deadline - time.monotonic()))

    def _forget(self, worker: Worker) -> None:
        """Drop the gauges of a worker that has gone; its counters still count."""
        for file in self._metrics.glob(f"gauge_live*_{worker.pid}.db"):
            file.unlink(missing_ok=True)


class PortTakenError(Exception):
    """Somebody else listens at the address."""


def bound(host: str, port: int, *, beside: bool) -> socket.socket:
    """A listening socket.

    Parameters
    ----------
    host : str
    port : int
        0 for any free one.
    beside : bool
        Whether another service of the same user may listen there too, from which this one takes
        over: the kernel hands each new connection to one of both.

    Raises
    ------
    OSError
        If the address cannot be had; ``PortTakenError`` if somebody else listens there.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    if port and not beside:
        # Without SO_REUSEPORT this fails where anybody listens.
        try:
            socket.create_server((host, port), family=family).close()
        except OSError as error:
            raise PortTakenError(error.strerror or str(error)) from None
    return socket.create_server((host, port), family=family, backlog=BACKLOG, reuse_port=True)


def serve(*, host: str, port: int, workers: int, beside: bool, settings: Settings) -> bool:
    """Serve until told to stop; whether it ended because it was told to.

    Raises
    ------
    OSError
        If the address cannot be had; ``PortTakenError`` if somebody else listens there.
    """
    configure(settings.log_format)
    listener = bound(host, port, beside=beside)
    at = f"[{host}]" if ":" in host else host
    address = f"http://{at}:{listener.getsockname()[1]}"
    log.info(
        "Warmbranch %s listens at %s; documentation at %s/v1/docs",
        MODEL_VERSION,
        address,
        address,
        extra={"workers": workers, **settings.told()},
    )
    return Supervisor(listener, workers=workers, settings=settings).run()
