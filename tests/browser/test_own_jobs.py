"""A job of one's own beside the examples, and several of them."""

from __future__ import annotations

import re
from collections.abc import Callable

import bench
import pytest
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


@bench.SIZES
def test_a_new_car_in_few_taps_and_keys(opened: Opened, viewport: dict[str, int]) -> None:
    """From opening to a build length; it took 14 taps, 56 keys and 8 screens: half of each."""
    page = opened(viewport, locale="en-US").page
    taps, keys, screens = bench.new_car(page)
    assert taps <= 7
    assert keys <= 28
    assert screens <= 4
    name, value, beside = bench.headline(page)
    assert name == "build it"
    assert re.fullmatch(r"\d+( \d+/\d+)? in", value)
    assert beside.startswith("right length ")
    assert bench.kept_job(page)["case"]["main_pipe"]["wall_thickness_mm"] == "0.065 in"


def test_what_is_still_invented_is_marked_until_touched(opened: Opened) -> None:
    page = opened().page
    marks = page.locator(".invented:visible")
    before = marks.count()
    assert before >= 8
    bench.field(page, "case.engine.cylinders").fill("6")
    assert marks.count() == before - 1
    page.get_by_role("button", name="Print").evaluate(
        "() => dispatchEvent(new Event('beforeprint'))"
    )
    assert "still the invented example" in page.locator("#sheet").text_content()
    page.get_by_role("button", name="Start my own").click()
    bench.settle(page)
    assert marks.count() == 0
    assert bench.field(page, "case.branch.outside_diameter_mm").input_value() == ""
    assert "Still needed" in page.locator("#head-words").inner_text()


def test_a_car_typed_over_the_example_is_told_what_is_not_its_own(opened: Opened) -> None:
    page = opened().page
    assert "entries are still" not in page.locator("#plate").inner_text()
    assert page.locator("#head-place").inner_text() != ""
    bench.type_all(page, {"target_rpm": "1900", "case.main_pipe.outside_diameter_mm": "63.5"})
    left = [path for path in bench.kept_job(page)["invented"] if path.startswith("case.")]
    assert f"{len(left)} entries are still the example’s." in page.locator("#plate").inner_text()
    # Where on somebody else's pipe it should stand is nobody's business; what is folded is marked.
    assert page.locator("#head-place").inner_text() == ""
    marked = "(n) => getComputedStyle(n, '::after').content"
    assert page.locator("#shape > summary").evaluate(marked) == '"example"'
    page.get_by_label("It is built").click()
    assert page.locator("#ask-no").inner_text() == "Another length: I type it below"
    page.locator("#ask-no").click()
    assert bench.field(page, "case.branch.centreline.2.straight_mm").is_visible()


def test_another_metal_has_another_skin(opened: Opened) -> None:
    page = opened().page
    bench.field(page, "case.branch.material").select_option("mild steel")
    bench.settle(page)
    branch = bench.kept_job(page)["case"]["branch"]
    assert branch["material"] == "mild steel"
    assert "surface" not in branch
    assert bench.field(page, "case.branch.surface").input_value() == ""


def test_an_example_asks_and_replaces_nothing(opened: Opened) -> None:
    page = opened().page
    page.get_by_role("button", name="Start my own").click()
    bench.field(page, "name").fill("the red one")
    page.get_by_role("button", name="Example: generator").click()
    page.get_by_role("button", name="Keep what is here").click()
    assert bench.kept_job(page)["name"] == "the red one"
    page.get_by_role("button", name="Example: generator").click()
    page.get_by_role("button", name="Open the example").click()
    page.locator("#head-value", has_text="mm").wait_for()
    bench.settle(page)
    # Upright: taller than wide.
    box = page.locator(".branch-drawing .tube-edge").bounding_box()
    assert box is not None
    assert box["height"] > 3 * box["width"]
    # One length to build, however often the sheet tells it.
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    build = bench.headline(page)[1]
    sheet = (page.locator("#sheet").text_content() or "").replace("\u00a0", " ")
    off, left, *_ = (
        page.locator("#sheet table", has_text="Trimming")
        .locator("tbody tr")
        .nth(0)
        .locator("td, th")
        .all_text_contents()
    )
    assert (off.split()[0], left.replace("\u00a0", " ")) == ("0", build)
    drawn = page.locator("#sheet .branch-drawing text").all_text_contents()
    assert build in [text.replace("\u00a0", " ") for text in drawn]
    assert f"{int(build.split()[0]) - 1} mm" not in sheet
    page.locator("#jobs").select_option("the red one")
    bench.settle(page)
    assert bench.field(page, "name").input_value() == "the red one"


def test_two_tabs_do_not_overwrite_each_other(opened: Opened) -> None:
    page = opened().page
    page.get_by_role("button", name="Start my own").click()
    bench.field(page, "name").fill("mine")
    bench.settle(page)
    other = page.context.new_page()
    other.goto(page.url)
    bench.settle(other)
    other.get_by_role("button", name="Start my own").click()
    bench.field(other, "name").fill("the other")
    bench.field(other, "target_rpm").fill("1800")
    bench.settle(other)
    bench.field(page, "target_rpm").fill("2500")
    bench.settle(page)
    assert bench.kept_job(page)["name"] == "mine"
    assert bench.kept_job(page)["target_rpm"] == 2500
    assert bench.kept_job(other)["target_rpm"] == 1800


def test_another_job_like_this_carries_what_was_learned(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    bench.add_readings(page, inches=False)
    page.get_by_role("button", name="Another like this").click()
    bench.settle(page)
    job = bench.kept_job(page)
    assert job["readings"] == []
    assert job["case"]["closures"]["calibration"]
    assert bench.headline(page)[0] == "build it"
