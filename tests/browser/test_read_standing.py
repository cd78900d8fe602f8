"""A branch in the wind that was read by hand: the page asks whether it stood, and believes it."""

from __future__ import annotations

import json
from collections.abc import Callable

import bench
import pytest
from playwright.sync_api import Request
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


def test_who_says_how_it_was_read_is_asked_no_more(opened: Opened) -> None:
    page = opened().page
    bench.unfold(page)
    windy = bench.VAN_MM | {"case.surroundings.air_speed_m_s": "12"}
    bench.measured(page, windy)
    question = page.locator("#read-standing")
    assert "stand still" in question.inner_text()
    assert "Air speed when read" in question.inner_text()
    asked: list[Request] = []
    page.on("request", lambda request: asked.append(request))
    bench.field(page, "while_read.air_speed_m_s").fill("0.5")
    bench.settle(page)
    assert question.inner_text() == ""
    fits = [json.loads(one.post_data or "") for one in asked if one.url.endswith("/v1/fit")]
    assert fits[-1]["while_read"] == {"air_speed_m_s": 0.5}
    # What was read while it warmed is as the warm-up has it.
    bench.field(page, "readings_min").fill("4")
    bench.settle(page)
    fits = [json.loads(one.post_data or "") for one in asked if one.url.endswith("/v1/fit")]
    assert "while_read" not in fits[-1]


def test_still_air_asks_nothing(opened: Opened) -> None:
    page = opened().page
    bench.unfold(page)
    bench.measured(page, bench.VAN_MM | {"case.surroundings.air_speed_m_s": "0"})
    assert page.locator("#read-standing").inner_text() == ""
