"""One number each, in one unit, at every width: what contradicted itself on one screen."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import bench
import pytest
from bench import DESK, PHONE, TABLET
from playwright.sync_api import Page
from serving import Watched

from warmbranch_service.length.examples import example_text
from warmbranch_service.local import length_of

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]

FOR_PROGRAMS = r"\b[a-z]+_[a-z]+\b|\bat the case\b|\bfolds\b|\bpriors?\b|\bvariance\b|\d K\b"
"""Names of fields and words of statistics, which the page is not to pass on to who welds."""


def _words(page: Page, selector: str) -> str:
    return (page.locator(selector).text_content() or "").replace("\u00a0", " ")


def _sixteenths(tape: str) -> Fraction:
    return 16 * sum(map(Fraction, tape.split()), Fraction(0))


def test_what_is_to_be_built_ends_where_the_headline_says(opened: Opened) -> None:
    page = opened(locale="en-US").page
    _, build, beside = bench.headline(page)
    last = page.locator("#cut-list tbody tr").last.locator("td, th")
    assert last.nth(2).inner_text().replace("\u00a0", " ") == build
    assert page.locator("#cut-list th", has_text="tube to cut").count() == 1
    # The curves are of another length than the drawing, and say so.
    said = _words(page, "#of-which-length")
    assert beside.removeprefix("right length ") in said
    first = length_of(example_text("length").encode()).trim_steps[0]
    assert first.quiet_rpm is not None
    assert f"first quiet at about {first.quiet_rpm:.0f} rpm" in said
    for part in ("#cautions", "#cautions-more", "#assumptions"):
        assert not re.search(FOR_PROGRAMS, _words(page, part)), _words(page, part)


BEYOND = """() => [...document.querySelectorAll("main svg")]
    .filter((drawn) => drawn.checkVisibility())
    .flatMap((drawn) => {
        const edge = drawn.getBoundingClientRect();
        const boxes = [...drawn.querySelectorAll("text")]
            .map((node) => [node.textContent, node.getBoundingClientRect()])
            .filter(([, box]) => box.width > 0);
        const outside = boxes.filter(([, box]) =>
            box.left < edge.left - 1 || box.right > edge.right + 1);
        const meet = ([, a], [, b]) => a.left < b.right - 1 && b.left < a.right - 1
            && a.top < b.bottom - 3 && b.top < a.bottom - 3;
        const struck = boxes.filter((one, k) => boxes.slice(k + 1).some((two) => meet(one, two)));
        return [...outside, ...struck].map(([text]) => text);
    })"""
"""Labels of drawings and charts that are cut off, or that strike one another through."""


CUT_SHORT = """() => {
    const pen = document.createElement("canvas").getContext("2d");
    const arrow = (node) => (node.matches("select") ? 16 : 0);
    return [...document.querySelectorAll("main select, main input[type=text]")]
        .filter((node) => node.checkVisibility())
        .filter((node) => {
            const style = getComputedStyle(node);
            const room = node.clientWidth - parseFloat(style.paddingLeft)
                - parseFloat(style.paddingRight) - arrow(node);
            const shown = node.matches("select")
                ? node.selectedOptions[0]?.text : node.value || node.placeholder;
            pen.font = style.font;
            return pen.measureText(shown ?? "").width > room;
        }).map((node) => node.value || node.placeholder);
}"""
"""What was chosen, typed or hinted at that does not show in full."""


def _wide(page: Page, viewport: dict[str, int]) -> dict[str, Any]:
    """What stands wrongly at this width; empty where nothing does."""
    page.set_viewport_size({"width": viewport["width"], "height": viewport["height"]})
    page.evaluate("() => scrollTo(0, 0)")
    bench.settle(page)  # what is measured is drawn with the next frame
    found: dict[str, Any] = {
        "labels": page.evaluate(BEYOND),
        "cut short": page.evaluate(CUT_SHORT),
    }
    plate = page.locator("#head-value").bounding_box()
    assert plate is not None
    if plate["y"] + plate["height"] > viewport["height"]:
        found["below the first screen"] = plate["y"]
    name, value, beside = bench.headline(page)
    page.evaluate("() => scrollTo(0, document.documentElement.scrollHeight)")
    bar = page.locator("#bar")
    box = bar.bounding_box()
    assert box is not None
    if not 0 <= box["y"] < viewport["height"]:
        found["bar out of sight"] = box["y"]
    shown = bar.inner_text().replace("\u00a0", " ")
    found["bar lacks"] = [p for p in (name, value, beside.split(",")[0]) if p not in shown]
    cells = [cell.bounding_box() for cell in page.locator("#cut-list td, #cut-list th").all()]
    found["cut off"] = [b for b in cells if b and b["x"] + b["width"] > viewport["width"]]
    if page.evaluate("() => document.documentElement.scrollWidth") != viewport["width"]:
        found["wider than the screen"] = True
    return {name: what for name, what in found.items() if what}


def test_one_number_each_at_every_width(opened: Opened) -> None:
    watched = opened(DESK)
    page = watched.page
    page.locator("#more-questions > summary").click()
    bench.settle(page)
    assert page.get_by_role("button", name="Take this shape").count() > 0
    page.get_by_label("not measured").check()
    gas = "case.main_pipe.gas_temperature_degC"
    bench.measured(page, {path: text for path, text in bench.VAN_MM.items() if path != gas})
    page.evaluate(
        "() => document.querySelectorAll('.how, .more').forEach((d) => { d.open = true; })"
    )
    # A branch that stands is not bent anew by a press.
    assert page.get_by_role("button", name=re.compile("^Take")).count() == 0
    wet = re.search(r"Water condenses from (\d+) mm", _words(page, "#answer-charts"))
    assert wet
    assert f"From {wet[1]} mm on" in _words(page, "#cautions")
    shown = page.locator("#drawing svg text").all_text_contents()
    assert sum(text.replace("\u00a0", " ").endswith(" °C") for text in shown) >= 3
    assert not any(text.endswith("°") for text in shown)
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    for part in ("#cautions", "#cautions-more", "#untold", "#fit-words", "#readings", "#sheet"):
        assert not re.search(FOR_PROGRAMS, _words(page, part)), _words(page, part)
    for viewport in (PHONE, TABLET, DESK):
        assert _wide(page, viewport) == {}, viewport
    bench.use_inches(page)
    bench.settle(page)
    assert not re.search(r"(?<![\d/])0 in are kept", _words(page, "#cut-words"))
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    cut = bench.headline(page)[1]
    sheet = _words(page, "#sheet")
    assert f"saw: {cut} off" in sheet
    assert "saw on the cap's side of the mark" in sheet
    stands, mark = re.findall(r"(\d[\d /]*) in", sheet.partition("3 straight")[2])[1:4:2]
    assert _sixteenths(stands) - _sixteenths(mark) == _sixteenths(cut.removesuffix(" in"))
    trims = page.locator("#sheet table", has_text="Trim steps").locator("tbody tr").all()
    cells = [
        row.locator("td, th").nth(place).text_content() or "" for row in trims for place in (0, 1)
    ]
    assert cells
    for cell in cells:
        assert re.fullmatch(r"\d+|(\d+ )?\d+/\d+", cell.replace("\u00a0", " ").removesuffix(" in"))
    for viewport in (PHONE, TABLET, DESK):
        assert _wide(page, viewport) == {}, viewport
    # Refused: the advice to the saw is of before, and is struck out wherever it stands.
    bench.field(page, "case.branch.wall_thickness_mm").fill("thick")
    bench.field(page, "case.main_pipe.wall_thickness_mm").focus()
    page.locator("#head-stale").wait_for()
    for part in ("#cut-words", "#cut-list td >> nth=0"):
        struck = page.locator(part).evaluate("(n) => getComputedStyle(n).textDecorationLine")
        assert struck == "line-through"
    watched.forget("status of 422")
