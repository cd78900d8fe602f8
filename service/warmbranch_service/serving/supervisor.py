"""``warmbranch serve``: binds the address, keeps the workers alive, and closes in good order.

The supervisor owns the listening socket, and so a worker that dies loses only what it was working
on: the others take what waits, and another worker takes its place. It loads neither the model nor
the framework. Nothing that it does waits for one worker while another may need it.

Written here: uvicorn's own (0.54) asks its workers one after the other, so that a hung one keeps a
dead one waiting; a thread of each worker answers it while the loop hangs; and it takes over from
nobody.

SIGTERM, SIGINT   close: see server.py
SIGHUP            replace the workers one by one, without a gap: for new code, for other keys
"""

from __future__ import annotations

import contextlib
import ipaddress
import logging
import os
import resource
import signal
import socket
import threading
import time
from collections import deque
from types import FrameType

from warmbranch_service.http.passage.logs import configure
from warmbranch_service.http.passage.metrics_folder import MetricsFolder
from warmbranch_service.http.settings import Settings
from warmbranch_service.serving.listening import HandOver, bound
from warmbranch_service.serving.worker_process import Worker
from warmbranch_service.version import MODEL_VERSION

log = logging.getLogger("warmbranch")

MOST_FALSE_STARTS = 5
"""Workers in a row that die before they serve; then something is broken that another one will not
mend."""

PATIENCE = 2.0
"""s beyond the grace time after which a worker that was told to close is killed: a second more than
server.py needs. With the grace time as it is set, the whole ends within the 10 s that containers
are given."""

LAST_RESORT = 3.0
"""s beyond the grace time after which the supervisor ends whatever it waits for, its workers
killed: counted from the signal, by the kernel."""

PAUSE = 0.1
"""s between two looks at the workers."""

DESCRIPTORS = 65_536
"""To which the soft limit is raised, where the hard one admits it."""


class Supervisor:
    """Keeps so many workers serving on one socket until told to close.

    Parameters
    ----------
    listener : socket
        Bound and listening.
    host : str
    workers : int
    settings : Settings
    """

    def __init__(
        self, listener: socket.socket, *, host: str, workers: int, settings: Settings
    ) -> None:
        self._listener = listener
        self._size = workers
        self._settings = settings
        self._workers: list[Worker] = []
        self._false_starts = 0
        self._closing = threading.Event()
        self._told_again = self._told_serving = self._renewing = False
        self._to_renew: deque[Worker] = deque()
        self._successor: Worker | None = None
        self._leaving: list[tuple[Worker, float]] = []
        self._metrics = MetricsFolder()
        self._hand_over = HandOver(listener, host)

    def run(self) -> bool:
        """Serve; whether it closed because it was told to."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._told_to_close)
        signal.signal(signal.SIGHUP, self._told_to_renew)
        signal.signal(signal.SIGALRM, self._end_at_last)
        try:
            self._workers = [self._begin() for _ in range(self._size)]
            while not self._closing.wait(PAUSE):
                self._hand_over.look()
                self._workers = [self._kept(worker) for worker in self._workers]
                self._tell_serving()
                self._renew()
                self._see_off()
                _reap_strangers({worker.pid for worker in self._all()})
                if self._false_starts >= MOST_FALSE_STARTS:
                    log.error("%d workers in a row did not start; giving up", self._false_starts)
                    break
            self._close()
        finally:
            for worker in self._all():
                if worker.is_alive:
                    worker.kill()
            self._metrics.remove()
            signal.setitimer(signal.ITIMER_REAL, 0)
        return self._closing.is_set()

    def _told_to_close(self, number: int, _: FrameType | None) -> None:
        if not self._closing.is_set():
            signal.setitimer(signal.ITIMER_REAL, self._settings.grace_seconds + LAST_RESORT)
        self._closing.set()

    def _end_at_last(self, number: int, _: FrameType | None) -> None:
        """End, though something is still waited for."""
        log.error("it does not close in time and is ended")
        for worker in self._all():
            worker.end_at_last()
        self._metrics.remove()
        os._exit(1)

    def _told_to_renew(self, number: int, _: FrameType | None) -> None:
        self._told_again = True

    def _tell_serving(self) -> None:
        """Say once that all serve: from then on a service that is taken over from may end."""
        if not self._told_serving and all(worker.serves for worker in self._workers):
            self._told_serving = True
            log.info("all workers serve", extra={"workers": self._size})

    def _all(self) -> list[Worker]:
        coming = [] if self._successor is None else [self._successor]
        return [*self._workers, *coming, *(worker for worker, _ in self._leaving)]

    def _begin(self) -> Worker:
        return Worker(self._listener, {**os.environ, **self._metrics.environment})

    def _kept(self, worker: Worker) -> Worker:
        """The worker, or another one in its place."""
        if worker.is_late:
            log.error("worker %d does not start and is killed", worker.pid)
            worker.kill()
        elif worker.is_alive and worker.is_hung:
            log.error("worker %d hangs and is killed", worker.pid)
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
        log.error(
            "worker %d has died %s; worker %d takes its place",
            worker.pid,
            worker.how_it_ended(),
            another.pid,
        )
        return another

    def _renew(self) -> None:
        """A step of replacing the workers, each only once its successor serves."""
        if self._told_again and self._successor is None and not self._to_renew:
            self._told_again, self._renewing = False, True
            self._to_renew.extend(self._workers)
        new = self._successor
        if new is None:
            while self._to_renew and self._to_renew[0] not in self._workers:
                self._to_renew.popleft()  # it has died, and what took its place is new
            if self._to_renew:
                self._successor = self._begin()
            return
        if not new.is_alive or new.is_late:
            log.error("worker %d does not start; the old ones serve on", new.pid)
            new.kill()
            self._forget(new)
            self._successor = None
            self._to_renew.clear()
            self._renewing = False
        elif new.serves:
            old = self._to_renew.popleft()
            self._successor = None
            if old in self._workers:
                self._workers[self._workers.index(old)] = new
                self._leave(old)
                log.info("worker %d has taken over from %d", new.pid, old.pid)
            else:
                self._leave(new)

    def _leave(self, worker: Worker) -> None:
        worker.close()
        deadline = time.monotonic() + self._settings.grace_seconds + PATIENCE
        self._leaving.append((worker, deadline))

    def _see_off(self) -> None:
        """Look after those that were told to close."""
        staying: list[tuple[Worker, float]] = []
        for worker, deadline in self._leaving:
            if worker.is_alive and time.monotonic() < deadline:
                staying.append((worker, deadline))
                continue
            if worker.is_alive:
                log.error("worker %d does not end and is killed", worker.pid)
                worker.kill()
            self._forget(worker)
        self._leaving = staying
        if self._renewing and not (staying or self._to_renew or self._successor):
            self._renewing = False
            log.info("all workers are new; no old one is left")

    def _close(self) -> None:
        self._hand_over.close()
        # Before the workers are told: the last of them to close its own copy takes what waits.
        self._listener.close()
        if self._successor is not None:
            self._successor.kill()
        for worker in self._all():
            worker.close()
        deadline = time.monotonic() + self._settings.grace_seconds + PATIENCE
        for worker in self._all():
            worker.wait(max(0.1, deadline - time.monotonic()))

    def _forget(self, worker: Worker) -> None:
        """Drop what a worker that has gone held; its counters still count."""
        worker.forget()
        self._metrics.forget(worker.pid)


def _reap_strangers(own: set[int]) -> None:
    """As the first process of a container: let orphans go that were never ours."""
    if os.getpid() != 1:
        return
    with contextlib.suppress(ChildProcessError):
        while True:
            ended = os.waitid(os.P_ALL, 0, os.WEXITED | os.WNOHANG | os.WNOWAIT)
            if ended is None or ended.si_pid in own:
                return  # one's own is waited for where it is known
            os.waitpid(ended.si_pid, 0)


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
    _warn(host, settings)
    _raise_limit()
    return Supervisor(listener, host=host, workers=workers, settings=settings).run()


def _warn(host: str, settings: Settings) -> None:
    """Say what whoever set it so may not have meant."""
    for warning in settings.warnings():
        log.warning(warning)
    if not settings.asks_for_keys and not _is_loopback(host):
        log.warning(
            "it listens beyond this machine and asks for no key: whoever reaches %s may use it. "
            "Set WARMBRANCH_API_KEYS or WARMBRANCH_API_KEYS_FILE.",
            host,
        )


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _raise_limit() -> None:
    """Let the workers hold as many connections as the hard limit admits."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = DESCRIPTORS if hard == resource.RLIM_INFINITY else min(DESCRIPTORS, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
