"""Everybody can use it: axe-core, keyboard alone, narrow screens, its size, its charts as words."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import bench
import pytest
from axe_playwright_python.base import AXE_SCRIPT
from bench import DESK, PHONE, TABLET
from playwright.sync_api import Page
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]
MOST_BYTES = 250_000
"""Of the page and all its parts together, as the issue that asked for it sets."""


def full_of_data(page: Page) -> None:
    """Every part of the page shows something, and is unfolded."""
    bench.measured(page, {})
    bench.enter(page, [(bench.at("draft_cut_mm"), "10"), ("#record-cut", None)])
    bench.unfold(page, numbers=True)


ASK_AXE = """(rules) => axe.run(
  // A chart's numbers are a table of many rows, all made alike: three of each are looked at.
  { exclude: [[".numbers tbody tr:nth-child(n + 4)"]] },
  { resultTypes: ["violations"], ...rules },
).then((found) => found.violations.map((v) => [v.id, ...v.nodes.map((n) => n.html)]))"""

COLOURS = {"runOnly": ["color-contrast"]}
"""The rule of axe that looks at colours; it takes five times as long as all others together."""

Violations = list[list[str]]


def violations(page: Page, scheme: str, rules: dict[str, Any]) -> Violations:
    """What axe-core finds in one colour scheme: each rule that is broken, and where."""
    page.emulate_media(color_scheme=scheme)
    page.evaluate(AXE_SCRIPT)
    return page.evaluate(ASK_AXE, rules)


@pytest.mark.parametrize(
    "viewport",
    [
        pytest.param(PHONE, id="390"),
        pytest.param(TABLET, id="768", marks=pytest.mark.long),
        pytest.param(DESK, id="1440", marks=pytest.mark.long),
    ],
)
def test_axe_finds_nothing_and_nothing_sticks_out(opened: Opened, viewport: dict[str, int]) -> None:
    watched = opened(viewport)
    page = watched.page
    found = {"as opened": violations(page, "light", {})}
    bench.type_all(page, {"case.branch.wall_thickness_mm": "50"})
    found["refused, dark"] = violations(page, "dark", {})
    bench.type_all(page, {"case.branch.wall_thickness_mm": "1.5"})
    full_of_data(page)
    found["full of data"] = violations(page, "light", {})
    found["full of data, dark"] = violations(
        page, "dark", COLOURS
    )  # schemes differ in nothing else
    assert {state: broken for state, broken in found.items() if broken} == {}
    for width in (360, 390, 768, 1280, 1920):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("() => document.documentElement.scrollWidth") == width
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
    bench.measured(page, {})  # and the skin before and after
    bench.unfold(page)
    figures = page.locator("figure:has(.numbers)")
    assert figures.count() == 7
    for figure in figures.all():
        assert len(figure.locator(".words").inner_text()) > 30
        assert figure.locator("svg[role=img]").count() == 1
        if not figure.locator("tbody tr").first.is_visible():
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
    assert bench.headline(page)[2] == "right length 45 9/16 in"
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
    watched = opened()
    page = watched.page
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    box = bench.field(page, "case.branch.outside_diameter_mm")
    box.fill("")
    box.press_sequentially("50.8", delay=10)
    bench.settle(page)
    # One question for the resonance of each settled text; a pause of a slow machine makes another.
    first = [url for url in asked if url.endswith("/v1/warmup")]
    assert 1 <= len(first) <= 3
    watched.forget("status of 422")  # where such a pause comes before the last digit


def test_a_broken_file_is_told_and_changes_nothing(opened: Opened, tmp_path: Path) -> None:
    page = opened().page
    before = bench.kept_job(page)
    broken = tmp_path / "broken.json"
    broken.write_text("{", encoding="utf-8")
    page.locator("#file").set_input_files(broken)
    page.get_by_text("This file is not JSON").wait_for()
    assert bench.kept_job(page) == before
