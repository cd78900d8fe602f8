"""The shop sheet, the page on a phone, and how much is asked for the first screen."""

from __future__ import annotations

import re
from collections.abc import Callable

import bench
import pytest
from bench import PHONE
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


def test_the_sheet_has_dimensions_marks_and_a_cope_to_scale(opened: Opened) -> None:
    page = opened(locale="en-US").page
    page.emulate_media(media="print")
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    sheet = page.locator("#sheet")
    assert "radius 2 13/16 in" in (sheet.locator(".branch-drawing").text_content() or "").replace(
        "\u00a0", " "
    )
    assert re.search(r"\d+ \d+/\d+ in", sheet.inner_text().replace("\u00a0", " "))
    template = sheet.locator("svg.template")
    # π × 48.3 mm and its frame; depth R − √(R² − r²) of 60.3 and 48.3 mm tubes.
    assert float((template.get_attribute("width") or "")[:-2]) == pytest.approx(
        151.74 + 2, abs=0.01
    )
    assert float(template.get_attribute("data-depth") or "") == pytest.approx(
        30.15 - (30.15**2 - 24.15**2) ** 0.5, abs=0.001
    )
    drawn = template.evaluate("(n) => n.getBoundingClientRect().width")
    assert drawn * 25.4 / 96 == pytest.approx(153.74, abs=0.1)  # CSS: 96 pixels an inch
    ruler = sheet.locator("svg.ruler").first
    assert ruler.evaluate("(n) => n.getBoundingClientRect().width") * 25.4 / 96 == pytest.approx(
        102, abs=0.1
    )


SMALL_TARGETS = """() => {
    const tapped = "main button, main input[data-path], main select, main summary, .choice label";
    const height = (node) => node.getBoundingClientRect().height;
    return [...document.querySelectorAll(tapped)]
        .filter((node) => node.checkVisibility() && height(node) > 0 && height(node) < 47.5)
        .map((node) => node.outerHTML.slice(0, 80));
}"""


BROKEN_WORDS = """() => [...document.querySelectorAll(".field label")].flatMap((label) =>
    [...label.childNodes]
        .filter((node) => node.nodeType === Node.TEXT_NODE && label.checkVisibility())
        .filter((text) => {
            const range = document.createRange();
            range.selectNodeContents(text);
            const lines = new Set([...range.getClientRects()].map((box) => box.top));
            return lines.size > text.data.trim().split(/\\s+/).length;
        }).map((text) => text.data))"""


def test_a_phone_has_a_short_page_and_large_targets(opened: Opened) -> None:
    page = opened(PHONE).page
    assert page.evaluate("() => document.documentElement.scrollHeight") < 4300  # it was 8,600
    small = page.evaluate(SMALL_TARGETS)
    assert small == []
    assert page.get_by_text(
        "Hot pipes burn; exhaust gas kills"
    ).is_visible()  # with everything still folded
    assert page.evaluate(BROKEN_WORDS) == []
    bench.unfold(page, numbers=True)
    assert page.evaluate(BROKEN_WORDS) == []
    sideways = page.evaluate("() => document.documentElement.scrollWidth")
    assert sideways == PHONE["width"]
    cells = page.locator("#cut-list td, #cut-list th")
    shown = [box for cell in cells.all() if (box := cell.bounding_box())]
    assert len(shown) > 8
    for box in shown:
        assert box["x"] + box["width"] <= PHONE["width"]


def test_few_requests_for_the_first_screen(opened: Opened) -> None:
    page = opened().page
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.evaluate("() => { localStorage.clear(); sessionStorage.clear(); }")
    page.reload()
    page.locator("#head-value", has_text="mm").wait_for()
    bench.settle(page)
    # It took 58. The headline's is the first question; all before it is the page itself.
    assert len(asked) <= 12
    first = next(k for k, url in enumerate(asked) if "/v1/" in url)
    assert asked[first].endswith("/v1/length")
    assert first <= 5
