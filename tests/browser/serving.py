"""The service in its own process, and a page that is watched."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from shared.running import PATIENT, free_port

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserType, ConsoleMessage, Page, Request

START_SECONDS = 120

CHROMIUM = ["chromium-headless-shell", "chromium", "chromium-browser", "google-chrome"]
"""The first is without what draws windows, which nobody looks at: four minutes in place of six."""

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class Service:
    """The service as a user starts it, which can be killed and started again on its port."""

    def __init__(self, log: Path, port: int | None = None, **settings: str) -> None:
        self.port = free_port() if port is None else port
        self.address = f"http://127.0.0.1:{self.port}"
        self._log = log
        self._settings = PATIENT | settings
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "warmbranch_service", "serve", "--port", str(self.port)],
                stdout=log,
                stderr=log,
                env=os.environ | self._settings,
                start_new_session=True,  # so that its workers can be killed with it
            )
        deadline = time.monotonic() + START_SECONDS
        while time.monotonic() < deadline:
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return
            except OSError:
                time.sleep(0.05)
        self.kill()
        raise RuntimeError(f"no service; its log: {self._log.read_text()}")

    def kill(self) -> None:
        """End it without a farewell, as a broken cable would."""
        if self._process is not None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait(START_SECONDS)
            self._process = None

    def stop(self) -> None:
        if self._process is not None:
            # Not SIGINT: a shell that runs jobs in the background may have it ignored.
            self._process.terminate()
            self._process.wait(START_SECONDS)
            self._process = None


def launched(kind: BrowserType, *more: str) -> Browser:
    """Debian's Chromium, without a window, with ``more`` flags."""
    path = next(filter(None, map(shutil.which, CHROMIUM)), None)
    assert path, "no Chromium: apt-get install chromium-headless-shell"
    return kind.launch(executable_path=path, args=[*FLAGS, *more])


@contextmanager
def served() -> Iterator[tuple[Service, Browser]]:
    """A service of its own and a browser, for scripts that look at the page."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        service = Service(Path(folder) / "log.txt")
        service.start()
        try:
            browser = launched(playwright.chromium)
            yield service, browser
            browser.close()
        finally:
            service.stop()


@dataclass
class Watched:
    """A page, what went wrong on it, and what it asked of other hosts."""

    page: Page
    errors: list[str] = field(default_factory=list[str])
    strays: list[str] = field(default_factory=list[str])

    def __post_init__(self) -> None:
        self.page.on("console", self._listen)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("request", self._look)

    def _listen(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.errors.append(message.text)

    def _look(self, request: Request) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in ("data", "blob") and parts.hostname != "127.0.0.1":
            self.strays.append(request.url)

    def forget(self, text: str) -> None:
        """Pass over what the browser itself reports of each refused or lost request."""
        self.errors = [error for error in self.errors if text not in error]
