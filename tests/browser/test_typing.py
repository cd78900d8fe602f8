"""What happens while somebody types: half an entry, overtaken questions, slow answers, a key."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

import bench
import pytest
from bench import PHONE
from playwright.sync_api import Browser, Route
from serving import Service, Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]
KEY = "only-for+this%test"


def test_a_half_typed_reading_counts_for_nothing_and_breaks_nothing(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    page.get_by_role("button", name="Add a reading").click()
    bench.field(page, "readings.0.position_mm").fill("200")
    bench.settle(page)
    assert bench.quiet_rpm(page) == bench.example().quiet_rpm
    assert page.locator("#fit-outcome").inner_text() == "Nothing measured yet."
    assert "as soon as" in page.locator("[data-residual]").inner_text()
    bench.field(page, "readings.0.displayed_degC").fill("127")
    bench.settle(page)
    assert "Fitted" in page.locator("[data-residual]").inner_text()
    assert bench.quiet_rpm(page) != bench.example().quiet_rpm


def test_a_branch_without_an_engine_has_a_tone(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    bench.field(page, "case.engine.cylinders").fill("")
    bench.field(page, "target_rpm").fill("")
    bench.settle(page)
    assert bench.headline(page)[1] == f"{bench.example().hertz:.1f} Hz"
    bench.field(page, "case.engine.cylinders").fill("4")
    bench.settle(page)
    assert bench.quiet_rpm(page) == bench.example().quiet_rpm


def test_an_emptied_piece_stays_what_it_is(opened: Opened) -> None:
    watched = opened()
    page = watched.page
    bench.stands(page)
    bench.field(page, "case.branch.centreline.2.straight_mm").fill("")
    bench.settle(page)
    page.reload()
    bench.settle(page)
    piece = bench.field(page, "case.branch.centreline.2.straight_mm")
    assert piece.input_value() == ""
    assert piece.get_attribute("aria-invalid") == "true"
    piece.fill(f"{bench.last_straight_mm():g}")
    bench.settle(page)
    assert bench.quiet_rpm(page) == bench.example().quiet_rpm
    watched.forget("status of 422")


def test_a_slow_answer_shows_progress_and_one_overtaken_is_given_up(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    held: list[Route] = []
    lost: list[str] = []
    page.on("requestfailed", lambda request: lost.append(request.failure or ""))

    def hold_overtaken(route: Route) -> None:
        if '"straight_mm":1000}' in (route.request.post_data or ""):
            held.append(route)
        else:
            route.continue_()

    page.route("**/v1/steady", hold_overtaken)
    bench.field(page, "case.branch.centreline.2.straight_mm").fill("1000")
    page.locator("#progress").wait_for()
    bench.field(page, "case.branch.centreline.2.straight_mm").fill(f"{bench.last_straight_mm():g}")
    bench.settle(page)
    page.locator("#progress").wait_for(state="hidden")
    assert bench.quiet_rpm(page) == bench.example().quiet_rpm
    # The question of the second step and that of the slider.
    assert held
    assert lost.count("net::ERR_ABORTED") >= len(held)


def test_two_tabs_show_one_job(opened: Opened) -> None:
    page = opened().page
    other = page.context.new_page()
    other.goto(page.url)
    bench.settle(other)
    bench.field(other, "target_rpm").fill("2500")
    bench.settle(other)
    box = bench.field(page, "target_rpm")
    bench.settle(page)
    assert box.input_value() == "2500"
    assert bench.headline(page) == bench.headline(other)


def test_a_service_with_keys(opened: Opened, service: Service, tmp_path: Path) -> None:
    watched = opened()
    page = watched.page
    guarded = Service(tmp_path / "log.txt", WARMBRANCH_API_KEYS=KEY)
    guarded.start()
    try:
        page.goto(guarded.address)
        page.get_by_label("This service asks for a key").fill(KEY)
        page.get_by_role("button", name="Use it").click()
        page.locator("#head-value", has_text="mm").wait_for()
        assert page.locator("#key-form").is_hidden()
        page.reload()
        page.locator("#head-value", has_text="mm").wait_for()
    finally:
        page.goto(service.address)
        guarded.stop()
    watched.forget("status of 401")
    watched.forget("net::ERR_")


def test_the_key_in_the_address_is_taken_and_hidden(browser: Browser, tmp_path: Path) -> None:
    """As `serve --phone` prints it; a phone opens it and is let in, and the bar shows no key."""
    guarded = Service(tmp_path / "log.txt", WARMBRANCH_API_KEYS=KEY)
    guarded.start()
    context = browser.new_context(viewport=PHONE, locale="en-GB")
    try:
        watched = Watched(context.new_page())
        page = watched.page
        keys: list[str | None] = []
        page.on(
            "request",
            lambda one: keys.append(one.headers.get("x-api-key")) if "/v1/" in one.url else None,
        )
        page.goto(f"{guarded.address}/#key={quote(KEY, safe='')}")
        bench.settle(page)
        assert page.url == f"{guarded.address}/"
        assert set(keys) == {KEY}
        assert page.locator("#key-form").is_hidden()
        page.reload()  # kept until the tab is closed
        bench.settle(page)
        # A page that is open already, whose key has changed: the new address is scanned.
        page.evaluate("() => sessionStorage.clear()")
        page.reload()
        page.locator("#key-form").wait_for()
        page.goto(f"{guarded.address}/#key={quote(KEY, safe='')}")
        page.locator("#key-form").wait_for(state="hidden")
        bench.settle(page)
        assert page.url == f"{guarded.address}/"
        watched.forget("status of 401")
        assert watched.errors == []
    finally:
        context.close()
        guarded.stop()
