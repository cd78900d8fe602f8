"""Debian's Chromium on a service of its own, and pages that are watched.

Watched: nothing may be written to the console as an error, no request may leave 127.0.0.1.
Without Playwright (the extra ``browser``) nothing here is collected, so ``pytest -m browser`` then
ends with 5, no tests, which is a failure.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # for bench.py and serving.py

from bench import DESK, PATIENCE_MS, SETTLED
from serving import Service, Watched, launched

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext

collect_ignore_glob = [] if find_spec("playwright") else ["test_*.py"]

RUNNING = "BENCH_PAGE_PORT"
"""Environment variable: port of a service that runs already, for quick work on the page."""


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    if RUNNING in os.environ:
        yield Service(tmp_path_factory.mktemp("service") / "log.txt", int(os.environ[RUNNING]))
        return
    running = Service(tmp_path_factory.mktemp("service") / "log.txt")
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = launched(playwright.chromium)
        yield browser
        browser.close()


@pytest.fixture
def opened(browser: Browser, service: Service) -> Iterator[Callable[..., Watched]]:
    """Open the page; at the end, nothing may have gone wrong on it."""
    contexts: list[BrowserContext] = []
    all_watched: list[Watched] = []

    def open_page(viewport: dict[str, int] = DESK, **options: Any) -> Watched:
        # Chromium's own language is en-US: inches and °F. What moves is drawn sixty times a second
        # while the page waits, which is a third of all its work.
        options = {"locale": "en-GB", "reduced_motion": "reduce"} | options
        context = browser.new_context(viewport=viewport, accept_downloads=True, **options)
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        watched = Watched(context.new_page())
        all_watched.append(watched)
        watched.page.goto(service.address)
        watched.page.wait_for_selector(SETTLED, timeout=PATIENCE_MS)
        return watched

    yield open_page
    for watched in all_watched:
        assert watched.errors == []
        assert watched.strays == []
    for context in contexts:
        context.close()
