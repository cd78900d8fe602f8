"""A service in this process, for ``warmbranch demo``; ``warmbranch serve`` is supervisor.py."""

from __future__ import annotations

import http.client
import json
import socket
import threading
import time
from collections.abc import Callable
from types import TracebackType

from warmbranch_service.http.app import create_app
from warmbranch_service.http.settings import Settings
from warmbranch_service.serving.server import LAST_RESORT, Server
from warmbranch_service.serving.worker import configuration

GRACE_SECONDS = 10
START_SECONDS = 30.0
ANSWER_SECONDS = 60.0


class LocalService:
    """A service on the loopback interface, in a thread of this process.

    Parameters
    ----------
    port : int
        0 for any free port.
    """

    def __init__(self, port: int) -> None:
        settings = Settings.from_environment()
        self._socket = socket.create_server(("127.0.0.1", port))
        self.port: int = self._socket.getsockname()[1]
        self._server = Server(
            configuration(settings, lambda: create_app(settings)),
            grace=GRACE_SECONDS,
            most=settings.connections,
        )
        self._thread = threading.Thread(target=self._run, daemon=True)

    @property
    def address(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self.port}"

    def __enter__(self) -> LocalService:
        self._thread.start()
        _wait_until(lambda: self._server.started, lambda: self._thread.is_alive())
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.should_exit = True
        self._thread.join(GRACE_SECONDS + LAST_RESORT + START_SECONDS)
        self._socket.close()

    def post(self, path: str, body: bytes) -> tuple[int, bytes]:
        """Post JSON over HTTP; status and body of the answer."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_SECONDS)
        try:
            connection.request("POST", path, body, {"content-type": "application/json"})
            response = connection.getresponse()
            return response.status, response.read()
        finally:
            connection.close()

    def wait(self) -> None:
        """Keep serving until Ctrl-C."""
        try:
            while self._thread.is_alive():
                self._thread.join(1.0)
        except KeyboardInterrupt:
            return

    def _run(self) -> None:
        self._server.run(sockets=[self._socket])


def _wait_until(done: Callable[[], bool], alive: Callable[[], bool]) -> None:
    deadline = time.monotonic() + START_SECONDS
    while not done():
        if not alive() or time.monotonic() > deadline:
            raise RuntimeError("the service did not start")
        time.sleep(0.01)


def openapi_text() -> str:
    """The OpenAPI document, as it is kept in the fixtures."""
    return json.dumps(create_app().openapi(), indent=1, ensure_ascii=False) + "\n"
