"""One worker's server: uvicorn's, which accepts fairly and closes without losing a request.

Several workers share one listening socket. Each takes one connection whenever it has a moment, so
that the busy take fewer. On SIGTERM a worker takes what already waits on the socket, asks every
client to close by the header ``Connection: close``, answers all that comes until they have, and
ends work that outlasts the grace time with an answer, too.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import sys
from collections.abc import Callable
from typing import cast

import uvicorn
from uvicorn.config import STARTUP_FAILURE

from warmbranch_service.serving.supervisor import BACKLOG

log = logging.getLogger("warmbranch")

LULL = 1.0
"""s. So long an idle connection may still bring a request after SIGTERM; then it is closed."""

LAST_RESORT = 5.0
"""s after the grace time, in which ended work is answered, before connections are cut."""


class Server(uvicorn.Server):
    """Serves on sockets that somebody else has bound.

    Parameters
    ----------
    config : uvicorn.Config
    grace : float, s
        What is under way when told to stop may take so long.
    started : callable, optional
        Told once connections are taken.
    """

    def __init__(
        self, config: uvicorn.Config, *, grace: float, started: Callable[[], None] | None = None
    ) -> None:
        super().__init__(config)
        self._grace = grace
        self._tell = started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start the application, then take connections."""
        await self.lifespan.startup()
        if self.lifespan.should_exit:
            sys.exit(STARTUP_FAILURE)
        self.servers = []
        loop = asyncio.get_running_loop()
        for listener in sockets or []:
            listener.setblocking(False)
            loop.add_reader(listener.fileno(), self._accept, listener)
        self.started = True
        if self._tell is not None:
            self._tell()

    def _accept(self, listener: socket.socket) -> bool:
        """Take one connection; False when none waits."""
        try:
            connection, _ = listener.accept()
        except (BlockingIOError, InterruptedError, ConnectionAbortedError):
            return False
        except OSError as error:  # out of file descriptors: those at hand must close first
            log.error("a connection cannot be taken: %s", error)
            return False
        connection.setblocking(False)
        task = asyncio.ensure_future(self._connect(connection))
        self.server_state.tasks.add(task)
        task.add_done_callback(self.server_state.tasks.discard)
        return True

    async def _connect(self, connection: socket.socket) -> None:
        def protocol() -> asyncio.Protocol:
            make = cast("Callable[..., asyncio.Protocol]", self.config.http_protocol_class)
            return make(
                config=self.config,
                server_state=self.server_state,
                app_state=self.lifespan.state,
            )

        try:
            await asyncio.get_running_loop().connect_accepted_socket(protocol, connection)
        except OSError:  # the client has gone
            connection.close()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Answer all that has been taken, then end."""
        loop = asyncio.get_running_loop()
        # Whoever asks from here on is told to ask elsewhere next time.
        self.server_state.default_headers.append((b"connection", b"close"))
        closing: Callable[[], None] | None = self.lifespan.state.get("closing")
        end_all: Callable[[], None] | None = self.lifespan.state.get("end_all")
        if closing is not None:
            closing()
        for listener in sockets or []:
            loop.remove_reader(listener.fileno())
            for _ in range(BACKLOG):
                if not self._accept(listener):
                    break
            listener.close()
        timer = loop.call_later(self._grace, end_all) if end_all is not None else None
        deadline = loop.time() + min(LULL, self._grace)
        await asyncio.sleep(0)
        while loop.time() < deadline and (self.server_state.connections or self.server_state.tasks):
            await asyncio.sleep(0.02)
        self.config.timeout_graceful_shutdown = int(self._grace + LAST_RESORT)
        await super().shutdown()
        if timer is not None:
            timer.cancel()
