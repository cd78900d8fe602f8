"""One worker process, ``python -m warmbranch_service.serving.worker``, started by the supervisor.

Takes the numbers of two inherited file descriptors: the listening socket, and a pipe on which it
tells that it serves. Its standard input is the supervisor's lifeline: when that ends, so does it.
"""

from __future__ import annotations

import asyncio
import gc
import os
import socket
import sys
from collections.abc import Callable
from typing import cast

import uvicorn

from warmbranch_service.http.app import create_app
from warmbranch_service.http.logs import configure
from warmbranch_service.http.settings import Settings
from warmbranch_service.serving.connection import connections
from warmbranch_service.serving.server import Server

SWITCH_SECONDS = 0.001
"""How long a thread may hold the interpreter while another waits; Python's own is 5 ms. Health is
answered on the event loop's thread, which waits so long for each turn while solvers are busy."""


def configuration(settings: Settings, factory: Callable[[], object]) -> uvicorn.Config:
    """How uvicorn serves the application."""
    return uvicorn.Config(
        factory,
        factory=True,
        # uvicorn takes any callable that makes a protocol, and declares classes only.
        http=cast("type[asyncio.Protocol]", connections(settings.seconds_to_send)),
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


def main(listener: int, status: int) -> None:
    """Serve until told to stop."""
    sys.setswitchinterval(SWITCH_SECONDS)
    settings = Settings.from_environment()
    configure(settings.log_format)

    def started() -> None:
        gc.freeze()  # what is loaded stays: the collector need not look through it again and again
        os.write(status, b"1")
        os.close(status)

    server = _Supervised(
        configuration(settings, lambda: create_app(settings)),
        grace=settings.grace_seconds,
        started=started,
    )
    server.run([socket.socket(fileno=listener)])


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
