"""One worker's server: uvicorn's, which accepts fairly and closes without losing a request.

Several workers share one listening socket. Each takes one connection whenever it has a moment, so
that the busy take fewer. Where it holds as many as it may, one that is idle gives way; where none
is, or where descriptors run out, the kernel holds what comes for a while. On SIGTERM a worker takes
what already waits on the socket and nothing that comes later, asks every client to close by the
header ``Connection: close``, answers all that comes until they have, and ends work that outlasts
the grace time with an answer, too.
"""

from __future__ import annotations

import asyncio
import errno
import logging
import math
import os
import resource
import socket
import sys
from collections.abc import Callable
from types import FrameType
from typing import cast

import uvicorn
from uvicorn.config import STARTUP_FAILURE

from warmbranch_service.http.passage import metrics
from warmbranch_service.serving.connection import Connection
from warmbranch_service.serving.listening import BACKLOG

log = logging.getLogger("warmbranch")

LULL = 1.0
"""s. So long an idle connection may still bring a request after SIGTERM; then it is closed."""

LAST_RESORT = 1.0
"""s after the grace time, in which ended work is answered, before connections are cut."""

OUT_OF_ROOM = frozenset({errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM})
PAUSE_SECONDS = 1.0
"""s without taking connections once there is no room for one: those at hand must close first."""

FULL_SECONDS = 0.1
"""The same where the limit of connections is reached."""

LEAST_IDLE = 1.0
"""s. A connection that was silent for less does not give way: its request may be on its way."""

TELL_SECONDS = 60.0
"""Between two lines of the log on a lack of room."""

SPARE_DESCRIPTORS = 16
"""Kept back from connections: files of the page, what a library opens for a moment."""

FEWEST = 8
"""Connections that are admitted however few descriptors there are."""

LOOK_SECONDS = 0.05
"""Between two looks at how late the event loop turns."""

TICKS_A_SECOND = 10
"""uvicorn's."""


def room(most: int) -> int:
    """How many connections this process may hold: ``most``, or what descriptors admit."""
    soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft == resource.RLIM_INFINITY:
        return most
    held = len(os.listdir("/proc/self/fd")) if os.path.isdir("/proc/self/fd") else 64
    return max(FEWEST, min(most, soft - held - SPARE_DESCRIPTORS))


class Server(uvicorn.Server):
    """Serves on sockets that somebody else has bound.

    Parameters
    ----------
    config : uvicorn.Config
    grace : float, s
        What is under way when told to stop may take so long.
    most : int, optional
        Connections at once.
    started : callable, optional
        Told once connections are taken.
    beat : callable, optional
        Called about once a second, as long as the event loop turns.
    """

    def __init__(
        self,
        config: uvicorn.Config,
        *,
        grace: float,
        most: int = 1000,
        started: Callable[[], None] | None = None,
        beat: Callable[[], None] | None = None,
    ) -> None:
        super().__init__(config)
        self._grace = grace
        self._most = most
        self._tell = started
        self._beat = beat
        self._listeners: list[socket.socket] = []
        self._loop: asyncio.AbstractEventLoop | None = None
        self._told_at = -TELL_SECONDS
        self._connecting = 0

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start the application, then take connections."""
        await self.lifespan.startup()
        if self.lifespan.should_exit:
            sys.exit(STARTUP_FAILURE)
        self.servers = []
        self._most = room(self._most)
        self._listeners = list(sockets or [])
        self._loop = asyncio.get_running_loop()
        for listener in self._listeners:
            listener.setblocking(False)
            self._listen(listener)
        self.started = True
        self._look_how_late()
        if self._tell is not None:
            self._tell()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """uvicorn's, which acts at its next tick; who connects until then is a successor's."""
        super().handle_exit(sig, frame)
        if self._loop is not None:
            self._loop.call_soon_threadsafe(self._take_the_last)

    async def on_tick(self, counter: int) -> bool:
        """uvicorn's; every second a look at each connection."""
        if counter % TICKS_A_SECOND == 0:
            self._look()
        return await super().on_tick(counter)

    def _look_how_late(self, due: float = math.inf) -> None:
        """Count by how much this call comes after it was due, and be called again."""
        loop = asyncio.get_running_loop()
        now = loop.time()
        if now >= due:
            metrics.LATE.observe(now - due)
        loop.call_at(now + LOOK_SECONDS, self._look_how_late, now + LOOK_SECONDS)

    def _look(self) -> None:
        if self._beat is not None:
            self._beat()
        for connection in self._connections():
            connection.look()

    def _connections(self) -> list[Connection]:
        return [c for c in self.server_state.connections if isinstance(c, Connection)]

    def _listen(self, listener: socket.socket) -> None:
        if listener in self._listeners:
            asyncio.get_running_loop().add_reader(listener.fileno(), self._accept, listener)

    def _pause(self, listener: socket.socket, seconds: float) -> None:
        loop = asyncio.get_running_loop()
        loop.remove_reader(listener.fileno())
        loop.call_later(seconds, self._listen, listener)

    def _accept(self, listener: socket.socket) -> bool:
        """Take one connection; False when none waits, or none can be taken."""
        if not self._has_room():
            self._pause(listener, FULL_SECONDS)
            return False
        try:
            connection, _ = listener.accept()
        except (BlockingIOError, InterruptedError, ConnectionAbortedError):
            return False
        except OSError as error:
            if error.errno not in OUT_OF_ROOM:
                raise
            self._tell_lack(f"no connection can be taken for a moment: {error.strerror}")
            self._pause(listener, PAUSE_SECONDS)
            return False
        connection.setblocking(False)
        self._connecting += 1
        task = asyncio.ensure_future(self._connect(connection))
        self.server_state.tasks.add(task)
        task.add_done_callback(self.server_state.tasks.discard)
        return True

    def _has_room(self) -> bool:
        """Whether one more may be held; if not, whoever has been idle longest gives way."""
        if len(self.server_state.connections) + self._connecting < self._most:
            return True
        self._tell_lack(f"{self._most} connections are held; idle ones give way to new ones")
        now = asyncio.get_running_loop().time()
        idle = [(c.idle_since, c) for c in self._connections()]
        longest = min(
            ((since, c) for since, c in idle if since is not None and now - since >= LEAST_IDLE),
            key=lambda pair: pair[0],
            default=None,
        )
        if longest is None:
            return False
        longest[1].transport.close()
        return True

    def _tell_lack(self, what: str) -> None:
        now = asyncio.get_running_loop().time()
        if now - self._told_at >= TELL_SECONDS:
            self._told_at = now
            log.warning(what)

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
        finally:
            self._connecting -= 1

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Answer all that has been taken, then end."""
        loop = asyncio.get_running_loop()
        # Whoever asks from here on is told to ask elsewhere next time.
        self.server_state.default_headers.append((b"connection", b"close"))
        closing: Callable[[], None] | None = self.lifespan.state.get("closing")
        end_all: Callable[[], None] | None = self.lifespan.state.get("end_all")
        if closing is not None:
            closing()
        self._take_the_last()
        timer = loop.call_later(self._grace, end_all) if end_all is not None else None
        deadline = loop.time() + min(LULL, self._grace)
        await asyncio.sleep(0)
        while loop.time() < deadline and (self.server_state.connections or self.server_state.tasks):
            await asyncio.sleep(0.02)
        cut = loop.call_later(self._grace + LAST_RESORT, self._cut)
        self.config.timeout_graceful_shutdown = int(self._grace + LAST_RESORT)
        await super().shutdown()
        cut.cancel()
        if timer is not None:
            timer.cancel()

    def _take_the_last(self) -> None:
        """Take the connections that already wait, and none that comes later."""
        listeners, self._listeners = self._listeners, []  # a pause that ends later finds none
        for listener in listeners:
            asyncio.get_running_loop().remove_reader(listener.fileno())
            for _ in range(BACKLOG):
                if not self._accept(listener):
                    break
            listener.close()

    def _cut(self) -> None:
        for connection in self._connections():
            connection.transport.abort()
