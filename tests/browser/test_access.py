"""Everybody can use it: axe-core, keyboard alone, narrow screens, its size, its charts as words."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

import bench
import pytest
from axe_playwright_python.sync_playwright import Axe
from bench import DESK, PHONE, TABLET
from playwright.sync_api import Page
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]
MOST_BYTES = 250_000
"""Of the page and all its parts together, as the issue that asked for it sets."""


def full_of_data(page: Page) -> None:
    """Every part of the page shows something, also a refusal."""
    bench.stands(page)
    bench.unfold(page)
    bench.add_readings(page, inches=False)
    bench.add_heard(page, 2300)
    bench.field(page, "draft_cut_mm").fill("10")
    page.get_by_role("button", name="I have cut this").click()
    bench.settle(page)
    for details in page.locator("details").all():
        details.evaluate("(node) => { node.open = true; }")


@pytest.mark.parametrize(
    "viewport",
    [
        pytest.param(PHONE, id="390"),
        pytest.param(TABLET, id="768", marks=pytest.mark.long),
        pytest.param(DESK, id="1440", marks=pytest.mark.long),
    ],
)
def test_axe_finds_nothing(opened: Opened, viewport: dict[str, int]) -> None:
    watched = opened(viewport, reduced_motion="reduce")
    page = watched.page
    found = {}
    # Both schemes where all is shown; each once where little differs from that.
    states = {"as opened": ["light"], "full of data": ["light", "dark"], "refused": ["dark"]}
    for state, schemes in states.items():
        if state == "full of data":
            full_of_data(page)
        if state == "refused":
            bench.field(page, "case.branch.wall_thickness_mm").fill("50")
            bench.settle(page)
        for scheme in schemes:
            page.emulate_media(color_scheme=scheme)
            results = Axe().run(page)
            if results.violations_count:
                found[state, scheme] = results.generate_report()
    assert found == {}
    watched.forget("status of 422")


def tab_to(page: Page, selector: str, most: int = 120) -> None:
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("(s) => document.activeElement.matches(s)", selector):
            return
    raise AssertionError(f"{selector} is not reached by {most} tabs")


def test_by_keyboard_alone(opened: Opened) -> None:
    page = opened().page
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.textContent") == "To the first step"
    page.keyboard.press("Enter")
    bench.stands(page)
    tab_to(page, "[data-path='case.branch.centreline.2.straight_mm']")
    page.keyboard.press("Control+A")
    page.keyboard.type("1000")
    bench.settle(page)
    assert bench.quiet_rpm(page) < bench.example().quiet_rpm - 50
    tab_to(page, "#add-reading")
    page.keyboard.press("Enter")
    page.keyboard.type("100")  # the new row has the focus
    page.keyboard.press("Tab")
    page.keyboard.type("167")
    bench.settle(page)
    assert bench.kept_job(page)["readings"][0]["displayed_degC"] == 167
    tab_to(page, "#slider")
    for _ in range(10):
        page.keyboard.press("ArrowRight")
    bench.settle(page)
    assert bench.kept_job(page)["draft_cut_mm"] == 10
    tab_to(page, "#record-cut")
    page.keyboard.press("Space")
    bench.settle(page)
    assert bench.kept_job(page)["trims"][0]["cut_mm"] == 10
    page.keyboard.press("Control+z")
    bench.settle(page)
    assert bench.kept_job(page)["trims"] == []


def test_nothing_sticks_out(opened: Opened) -> None:
    page = opened().page
    full_of_data(page)
    for width in (360, 390, 768, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("() => document.documentElement.scrollWidth") == width


def test_size(opened: Opened) -> None:
    page = opened().page
    sizes = page.evaluate(
        "() => performance.getEntries().filter((e) => e.decodedBodySize && "
        "!new URL(e.name).pathname.startsWith('/v1/')).map((e) => [e.name, e.decodedBodySize])"
    )
    assert {Path(urlsplit(name).path).name for name, _ in sizes} >= {"", "all.css", "all.js"}
    assert sum(size for _, size in sizes) < MOST_BYTES


def test_charts_say_and_tell_their_numbers(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    bench.unfold(page)
    bench.add_heard(page, 2300)
    figures = page.locator("figure:has(.numbers)")
    bench.add_readings(page, inches=False)  # and the skin before and after
    assert figures.count() == 7
    for figure in figures.all():
        assert len(figure.locator(".words").inner_text()) > 30
        assert figure.locator("svg[role=img]").count() == 1
        if not figure.locator("tbody tr").first.is_visible():  # unless unfolded with the rest
            figure.locator("summary").click()
        figure.locator("tbody tr").first.wait_for()
        shown = figure.locator("tbody tr").count()
        with page.expect_download() as download:
            figure.get_by_role("button", name="Download CSV").click()
        lines = Path(download.value.path()).read_text(encoding="utf-8").splitlines()
        assert len(lines) == shown + 1 > 4


def test_units_change_what_is_shown_and_nothing_else(opened: Opened) -> None:
    page = opened().page
    before = bench.kept_job(page)
    bench.use_inches(page)
    assert bench.field(page, "case.branch.outside_diameter_mm").input_value() == "1.902"
    assert bench.field(page, "case.main_pipe.gas_temperature_degC").input_value() == "590"
    assert bench.headline(page)[2] == "right length 46 1/16 in"
    assert bench.kept_job(page) == before
    page.reload()
    bench.settle(page)
    assert page.get_by_label("Lengths").input_value() == "in"
    bench.field(page, "case.branch.outside_diameter_mm").fill("1 7/8")
    bench.settle(page)
    assert bench.kept_job(page)["case"]["branch"]["outside_diameter_mm"] == "1.875 in"
    page.get_by_label("Lengths").select_option("mm")
    assert bench.field(page, "case.branch.outside_diameter_mm").input_value() == "47.6"


def test_typing_does_not_flood_the_service(opened: Opened) -> None:
    page = opened().page
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    box = bench.field(page, "case.branch.outside_diameter_mm")
    box.fill("")
    box.press_sequentially("50.8", delay=10)
    bench.settle(page)
    # One question for the resonance of each settled text; a pause of a slow machine makes another.
    first = [url for url in asked if url.endswith("/v1/warmup")]
    assert 1 <= len(first) <= 3


def test_a_broken_file_is_told_and_changes_nothing(opened: Opened, tmp_path: Path) -> None:
    page = opened().page
    before = bench.kept_job(page)
    broken = tmp_path / "broken.json"
    broken.write_text("{", encoding="utf-8")
    page.locator("#file").set_input_files(broken)
    page.get_by_text("This file is not JSON").wait_for()
    assert bench.kept_job(page) == before
