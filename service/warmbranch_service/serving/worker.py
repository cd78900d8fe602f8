"""One worker process, begun by entry.py.

Takes the numbers of two inherited file descriptors: the listening socket, and a pipe on which it
tells that it serves, and every second that it lives. Its standard input is the supervisor's
lifeline: when that ends, so does it.
"""

from __future__ import annotations

import asyncio
import contextlib
import gc
import os
import shutil
import socket
import sys
from collections.abc import Callable
from typing import cast

import uvicorn

from warmbranch_service.http.app import create_app
from warmbranch_service.http.passage import metrics_folder
from warmbranch_service.http.settings import Settings
from warmbranch_service.serving.connection import connections
from warmbranch_service.serving.server import Server
from warmbranch_service.serving.worker_process import LIVES, SERVES

SWITCH_SECONDS = 0.001
"""How long a thread may hold the interpreter while another waits; Python's own is 5 ms. Health is
answered on the event loop's thread, which waits so long for each turn while solvers are busy."""


def configuration(settings: Settings, factory: Callable[[], object]) -> uvicorn.Config:
    """How uvicorn serves the application."""
    made = connections(settings.seconds_to_send, settings.seconds_to_read)
    return uvicorn.Config(
        factory,
        factory=True,
        # uvicorn takes any callable that makes a protocol, and declares classes only.
        http=cast("type[asyncio.Protocol]", made),
        log_config=None,
        access_log=False,  # the service logs each request itself, with its id
        server_header=False,
        ws="none",  # none is served, and their library costs a start a tenth of a second
        proxy_headers=bool(settings.trusted_proxies),
        forwarded_allow_ips=list(settings.trusted_proxies),
    )


class _Supervised(Server):
    """Ends when its supervisor does."""

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        lifeline = sys.stdin.fileno()
        asyncio.get_running_loop().add_reader(lifeline, self._follow, lifeline)

    def _follow(self, lifeline: int) -> None:
        if not os.read(lifeline, 1024):
            asyncio.get_running_loop().remove_reader(lifeline)
            self.should_exit = True
            # Nobody else is left to do it; what is mapped stays so.
            shutil.rmtree(os.environ.get(metrics_folder.DIRECTORY, ""), ignore_errors=True)


class _Loaded:
    """What is loaded stays: the collector of cycles need not look through it again and again.

    It holds the interpreter while it looks, through a quarter of a million objects of scipy and the
    schemas for a tenth of a second and more, in which nobody is answered. Much is loaded only when
    it is first asked for, so this is called every second.
    """

    def __init__(self) -> None:
        self._modules = 0

    def leave_alone(self) -> None:
        """Take all that lives out of the collector's sight, where something was loaded since."""
        if len(sys.modules) != self._modules:
            # Through all that lives only at the start; later everybody would wait for it.
            gc.collect(0 if self._modules else 2)
            gc.freeze()
            self._modules = len(sys.modules)


def serve(settings: Settings, listener: int, status: int) -> None:
    """Serve until told to stop."""
    sys.setswitchinterval(SWITCH_SECONDS)
    os.set_blocking(status, False)

    def tell(what: bytes) -> None:
        # A supervisor that was stopped does not read; one that has gone is told by the lifeline.
        with contextlib.suppress(BlockingIOError, BrokenPipeError):
            os.write(status, what)

    loaded = _Loaded()

    def started() -> None:
        loaded.leave_alone()
        tell(SERVES)

    def beat() -> None:
        loaded.leave_alone()
        tell(LIVES)

    server = _Supervised(
        configuration(settings, lambda: create_app(settings)),
        grace=settings.grace_seconds,
        most=settings.connections,
        started=started,
        beat=beat,
    )
    server.run([socket.socket(fileno=listener)])
