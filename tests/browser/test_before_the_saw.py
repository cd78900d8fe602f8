"""What could send somebody to the saw with the wrong number: each finding, as a test."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import bench
import pytest
from bench import PHONE
from playwright.sync_api import Page, Route
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


def sheet_facts(page: Page) -> str:
    facts = page.locator("#sheet .facts")
    terms = facts.locator("dt").all_text_contents()
    return " ".join(
        f"{term} {text}"
        for term, text in zip(terms, facts.locator("dd").all_text_contents(), strict=True)
    ).replace("\u00a0", " ")


@bench.SIZES
def test_nothing_is_cut_before_it_is_built(opened: Opened, viewport: dict[str, int]) -> None:
    page = opened(viewport).page
    build = bench.example_headline(page)
    said = bench.all_text(page)
    assert not re.search(r"\bcut \d", said, re.IGNORECASE)
    assert not re.search(r"quiet now", said, re.IGNORECASE)
    assert f"Build it {build} mm long, right length {bench.example().right_mm} mm" in re.sub(
        r"\s+", " ", sheet_facts(page)
    )
    # On the first screen, in the bar that stays, and the question before it.
    for selector in ("#head-value", "#built-choice", "#bar-value"):
        box = page.locator(selector).bounding_box()
        assert box is not None
        assert 0 <= box["y"] < viewport["height"] - box["height"] + 1
    assert page.locator("#bar-value").inner_text() == page.locator("#head-value").inner_text()
    page.mouse.wheel(0, 2000)
    page.wait_for_function("() => scrollY > 500")
    box = page.locator("#bar-value").bounding_box()
    assert box is not None
    assert 0 <= box["y"] < viewport["height"]


def test_no_advice_to_cut_while_nothing_was_measured(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    assert bench.headline(page)[:2] == ("quiet at", f"{bench.example().quiet_rpm} rpm")
    assert not re.search(r"\bcut \d", bench.all_text(page), re.IGNORECASE)
    bench.add_heard(page, 2240)
    assert bench.headline(page)[2].startswith("quiet at ")


def test_one_number_each(opened: Opened) -> None:
    page = opened().page
    bench.unfold(page)
    bench.stands(page)
    bench.add_readings(page, inches=False)
    bench.add_heard(page, 2330)
    quiet = bench.quiet_rpm(page)
    said = bench.all_text(page)
    cold = set(re.findall(r"[Cc]old[^.]*?(?:at|near) (\d{4}) rpm", said))
    assert len(cold) == 1
    stated = re.search(r"cancels best at (\d+) rpm", said)
    assert stated
    assert float(stated[1]) == quiet
    assert "quiet at" in page.locator("#bar").inner_text()
    page.locator("#trim-chart summary").click()
    first = page.locator("#trim-chart tbody tr").first
    assert float(first.locator("td").nth(1).inner_text()) == quiet


def test_advice_and_slider_tell_one_chance(opened: Opened) -> None:
    """The advice was at 3 %, the page said 5, and the slider 8 of the same cut."""
    page = opened().page
    bench.stands(page)
    bench.unfold(page)
    bench.type_all(page, bench.VAN_MM)
    bench.add_readings(page, inches=False)
    bench.add_heard(page, bench.HEARD_RPM)
    name, value, _ = bench.headline(page)
    assert name == "cut now"
    bench.field(page, "draft_cut_mm").fill(value.split()[0])
    bench.settle(page)
    advice = page.locator("#cut-words").inner_text().replace("\u00a0", " ")
    told = re.search(r"is then (about [\d.]+ %)", advice)
    assert told
    assert page.locator("#slider-chance").inner_text().endswith(told[1])
    assert float(told[1].split()[1]) <= 3
    # Where the line of the chart crosses what is wanted is where the advice says it will end.
    final = re.search(r"In all, about (\d+) mm", advice)
    assert final
    crossing = page.evaluate(
        "async () => { const lines = [...document.querySelectorAll('#trim-chart path.line')];"
        " const line = lines.find((l) => l.matches('.ink'));"
        " const wanted = lines.find((l) => l.matches('.target'));"
        " const y = wanted.getPointAtLength(0).y, all = line.getTotalLength();"
        " let k = 0; while (k < all && line.getPointAtLength(k).y > y) k += 0.25;"
        " const first = line.getPointAtLength(0).x, last = line.getPointAtLength(all).x;"
        " return (line.getPointAtLength(k).x - first) / (last - first); }"
    )
    rows = page.locator("#trim-chart tbody tr")
    if not rows.first.is_visible():
        page.locator("#trim-chart summary").click()
    last = float(rows.last.locator("th").inner_text())
    assert crossing * last == pytest.approx(float(final[1]), abs=2)
    assert page.locator("#skin-chart .words").inner_text().startswith("Bands hold 90 %")

    page.get_by_role("button", name="I have cut this").click()
    bench.settle(page)
    assert bench.headline(page)[1] == "Listen first"
    assert page.locator("#cut-words").inner_text().startswith("Listen before the next cut.")


def test_a_slip_is_settled_before_the_saw(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    bench.add_readings(page, inches=False)
    for place, (_, shown) in enumerate(bench.READINGS_MM):
        bench.field(page, f"readings.{place}.displayed_degC").fill(f"{shown * 1.8 + 32:.0f}")
    bench.settle(page)
    assert bench.headline(page)[1] == "A slip?"
    assert "did it show °F?" in page.locator("#rivals").inner_text()
    words = page.locator("#cut-words").inner_text()
    assert words.startswith("Settle first:")
    assert not re.search(r"\bcut \d", bench.all_text(page), re.IGNORECASE)


def test_a_likelier_slip_is_asked_about_before_any_cut(opened: Opened) -> None:
    page = opened().page
    slip = {
        "name": "fahrenheit",
        "sentence": "As °F these readings fit: did it show °F?",
        "odds": 40.0,
        "what_to_read": "Look at the thermometer's display.",
        "quiet_rpm": 2358.0,
        "resonance_Hz": 78.6,
    }

    def with_rival(route: Route) -> None:
        answer = route.fetch()
        route.fulfill(response=answer, json={**answer.json(), "rivals": [slip]})

    page.route("**/v1/fit", with_rival)
    bench.stands(page)
    bench.add_heard(page, 2240)
    name, value, _ = bench.headline(page)
    assert (name, value) == ("before the saw", "A slip?")
    assert "did it show °F?" in page.locator("#head-words").inner_text()
    assert "quiet at 2358 rpm" in page.locator("#rivals li").inner_text()
    assert not re.search(r"\bcut \d", bench.all_text(page), re.IGNORECASE)


def test_nothing_rounds_to_a_cut_of_nothing(opened: Opened) -> None:
    page = opened(locale="en-US").page
    tape = page.evaluate(
        "async () => { const u = await import('/page/units.js');"
        " u.chosen.length = 'in'; return [u.onTape(1), u.onTape(1.6), u.leastOnTape()]; }"
    )
    assert tape[0].replace("\u00a0", " ") == "0 in"
    assert tape[1].replace("\u00a0", " ") == "1/16 in"
    assert tape[2] == pytest.approx(25.4 / 16)


def test_an_old_number_says_that_it_is_old(opened: Opened) -> None:
    watched = opened(PHONE)
    page = watched.page
    page.route("**/v1/**", lambda route: route.abort())
    bench.field(page, "target_rpm").fill("2600")
    page.locator("#head-stale").wait_for()
    assert "not up to date" in page.locator("#bar").inner_text()
    page.unroute("**/v1/**")
    bench.settle(page)
    page.locator("#head-stale").wait_for(state="hidden")
    bench.field(page, "case.branch.wall_thickness_mm").fill("thick")
    bench.field(page, "target_rpm").focus()
    page.locator("#head-stale").wait_for()
    watched.forget("net::ERR_")
    watched.forget("status of 422")


@pytest.mark.parametrize("as_advised", [True, False])
def test_a_branch_that_stands_is_as_long_as_somebody_says(opened: Opened, as_advised: bool) -> None:
    """The last straight was only where the search began: no cut is counted from it unasked."""
    page = opened().page
    advised = bench.example().build_mm
    page.get_by_label("It is built").click()
    ask = page.locator("#ask")
    assert "How long was it built" in ask.inner_text()
    assert page.get_by_label("Not yet").is_checked()  # until it is answered
    assert f"{advised} mm, as advised" in ask.inner_text().replace("\u00a0", " ")
    page.locator("#ask-yes" if as_advised else "#ask-no").click()
    bench.settle(page)
    assert page.get_by_label("It is built").is_checked()
    words = page.locator("#head-words").inner_text().replace("\u00a0", " ")
    typed = 180 + math.radians(90) * 72 + bench.last_straight_mm()
    assert f"{advised if as_advised else typed:.0f} mm long" in words
    straight = bench.field(page, "case.branch.centreline.2.straight_mm")
    marked = straight.locator("xpath=..").locator(".invented").is_visible()
    assert marked != as_advised
