"""Nobody says how long the engine had run: the page asks, and holds the saw back until it knows."""

from __future__ import annotations

import json
from collections.abc import Callable

import bench
import pytest
from playwright.sync_api import Page, Request
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


def _measured(page: Page) -> None:
    bench.unfold(page)
    bench.measured(page, readings=False)


def _cut_mm(words: str) -> float:
    return float(words.replace("\u00a0", " ").split("Cut ")[1].split(" mm")[0])


def test_the_saw_is_held_back_until_the_minutes_are_said(opened: Opened) -> None:
    page = opened().page
    _measured(page)
    question, advice = page.locator("#time-untold"), page.locator("#cut-words")
    assert "How many minutes" in question.inner_text()
    assert "kept back until you say" in advice.inner_text()
    before = _cut_mm(advice.inner_text())
    bench.field(page, "heard.0.run_min").fill("60")
    bench.settle(page)
    assert question.inner_text() == ""
    assert "kept back" not in advice.inner_text()
    assert _cut_mm(advice.inner_text()) > before


def test_minutes_are_asked_of_the_service_as_seconds(opened: Opened) -> None:
    page = opened().page
    _measured(page)
    bench.add_readings(page, inches=False)
    asked: list[Request] = []
    page.on("request", lambda request: asked.append(request))
    bench.field(page, "heard.0.run_min").fill("4")
    bench.settle(page)
    fits = [json.loads(one.post_data or "") for one in asked if one.url.endswith("/v1/fit")]
    told = [one for one in fits if one.get("heard")]
    assert told[-1]["heard"][0]["time_s"] == 240
    # Readings without a time go with the earliest that is said.
    assert told[-1]["time_s"] == 240
