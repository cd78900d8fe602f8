"""What a new user could be sent to the saw with: each finding, as a test."""

from __future__ import annotations

import re
from collections.abc import Callable

import bench
import pytest
from bench import DESK, PHONE, TABLET
from playwright.sync_api import Page, Route
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]
SIZES = pytest.mark.parametrize("viewport", [PHONE, TABLET, DESK], ids=["390", "768", "1440"])


def all_text(page: Page) -> str:
    """The page's and the sheet's words, folded or not, without what the service itself warns of."""
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    return page.evaluate(
        "() => { const copy = document.body.cloneNode(true);"
        " copy.querySelectorAll('[hidden], #cautions, #cautions-more, #safety-more')"
        ".forEach((n) => n.remove()); return copy.textContent; }"
    ).replace("\u00a0", " ")


@SIZES
def test_nothing_is_cut_before_it_is_built(opened: Opened, viewport: dict[str, int]) -> None:
    page = opened(viewport).page
    build = bench.example_headline(page)
    said = all_text(page)
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


def sheet_facts(page: Page) -> str:
    facts = page.locator("#sheet .facts")
    terms = facts.locator("dt").all_text_contents()
    return " ".join(
        f"{term} {text}"
        for term, text in zip(terms, facts.locator("dd").all_text_contents(), strict=True)
    ).replace("\u00a0", " ")


def test_no_advice_to_cut_while_nothing_was_measured(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    assert bench.headline(page)[:2] == ("quiet at", f"{bench.example().quiet_rpm} rpm")
    assert not re.search(r"\bcut \d", all_text(page), re.IGNORECASE)
    bench.add_heard(page, 2240)
    assert bench.headline(page)[2].startswith("quiet at ")


@SIZES
def test_a_new_car_in_few_taps_and_keys(opened: Opened, viewport: dict[str, int]) -> None:
    """From opening to a build length; it took 14 taps, 56 keys and 8 screens: half of each."""
    page = opened(viewport, locale="en-US").page
    keys = 0

    def typed(text: str) -> None:
        nonlocal keys
        page.keyboard.type(text)
        page.keyboard.press("Enter")  # on to the next field, as on a phone
        keys += len(text) + 1

    page.get_by_role("button", name="Start my own").click()
    taps = 1
    typed("2350")
    typed("4")
    typed("2 1/2")
    typed("16 ga")
    # Not measured, cruising: that stands; on to the branch.
    here = page.evaluate("() => document.activeElement.dataset.path ?? ''")
    while here != "case.branch.outside_diameter_mm":
        page.keyboard.press("Tab")
        keys += 1
        here = page.evaluate("() => document.activeElement.dataset.path ?? ''")
        assert keys < 40
    typed("2")
    page.locator("#head-value", has_text="in").wait_for()
    bench.settle(page)
    assert taps <= 7
    assert keys <= 28
    screens = page.evaluate("() => scrollY / innerHeight")
    assert screens <= 4
    name, value, beside = bench.headline(page)
    assert name == "build it"
    assert re.fullmatch(r"\d+( \d+/\d+)? in", value)
    assert beside.startswith("right length ")
    assert bench.kept_job(page)["case"]["main_pipe"]["wall_thickness_mm"] == "0.065 in"


def test_the_pipes_own_skin_is_taken_as_skin(opened: Opened) -> None:
    page = opened().page
    page.get_by_label("read on the pipe").check()
    assert page.locator("#where-to-point svg").is_visible()
    bench.field(page, "case.main_pipe.skin_reading.displayed_degC").fill("200")
    bench.field(page, "case.main_pipe.skin_reading.surface").select_option("matt black paint")
    bench.settle(page)
    words = page.locator("#gas-words").inner_text()
    found = re.search(r"Taken for the gas: (\d+)", words)
    assert found
    # The skin of a pipe in air is far colder than its gas.
    assert int(found[1]) > 250
    assert "gas_temperature_degC" not in bench.kept_job(page)["case"]["main_pipe"]
    page.get_by_label("not measured").check()
    bench.settle(page)
    assert "infrared thermometer" in page.locator("#gas-words").inner_text()
    assert bench.kept_job(page)["case"]["main_pipe"]["engine_load"] == "cruise"


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


def test_one_number_each(opened: Opened) -> None:
    page = opened().page
    bench.unfold(page)
    bench.stands(page)
    bench.add_readings(page, inches=False)
    bench.add_heard(page, 2330)
    quiet = bench.quiet_rpm(page)
    said = all_text(page)
    cold = set(re.findall(r"[Cc]old[^.]*?(?:at|near) (\d{4}) rpm", said))
    assert len(cold) == 1
    stated = re.search(r"cancels best at (\d+) rpm", said)
    assert stated
    assert float(stated[1]) == quiet
    assert "quiet at" in page.locator("#bar").inner_text()
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
    assert not re.search(r"\bcut \d", all_text(page), re.IGNORECASE)


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


def test_lengths_as_people_write_them(opened: Opened) -> None:
    watched = opened()
    page = watched.page
    wall = bench.field(page, "case.branch.wall_thickness_mm")
    outside = bench.field(page, "case.branch.outside_diameter_mm")
    length = bench.field(page, "place.pipe_length_mm")
    page.locator("#more-questions > summary").click()
    for box, typed, kept in (
        (wall, "16 ga", 1.651),
        (outside, "48,3", 48.3),
        (outside, "1 7/8 in", 47.625),
        (length, "3' 4\"", 1016),
    ):
        box.fill(typed)
        path = box.get_attribute("data-path") or ""
        value = bench.kept_job(page)
        for part in path.split("."):
            value = value[part]
        assert value == pytest.approx(kept)
    bench.settle(page)
    watched.forget("status of 422")  # the branch now stands beyond the end of that short pipe


def test_us_browsers_start_in_inches(opened: Opened) -> None:
    page = opened(locale="en-US").page
    assert bench.headline(page)[1].endswith(" in")
    assert page.locator("#units-temperature").input_value() == "degF"
    assert bench.field(page, "case.main_pipe.gas_temperature_degC").input_value() == "590"


def test_the_services_sentences_are_in_the_pages_units(opened: Opened) -> None:
    page = opened(locale="en-US").page
    for part in ("#cautions", "#cautions-more", "#safety-more", "#assumptions"):
        said = page.locator(part).text_content() or ""
        assert not re.search(r"\d (mm|°C|K)\b", said), said
    assert re.search(r"\d in\b", page.locator("#cautions").text_content() or "")


def test_errors_wait_and_use_the_pages_words(opened: Opened) -> None:
    watched = opened(locale="en-US")
    page = watched.page
    wall = bench.field(page, "case.branch.wall_thickness_mm")
    beside = page.locator(f"#{wall.get_attribute('id')}-error")
    wall.fill("4")
    bench.settle(page)
    assert beside.inner_text() == ""
    assert page.locator("#error-count").inner_text() == ""
    wall.press("Tab")
    beside.locator("text=out of range").wait_for()
    assert (
        beside.inner_text().replace("\u00a0", " ")
        == "That is out of range: between 0.0197 and 0.197 in."
    )
    for text in page.locator(".error").all_text_contents():
        assert not re.search(r"case\.|_mm|_degC", text)
    watched.forget("status of 422")


@pytest.mark.parametrize(
    ("choice", "fields"),
    [
        ("a tone in Hz", {"target_Hz": "78.3"}),
        (
            "road speed",
            {
                "road.road_speed_m_s": "100 km/h",
                "road.gear_ratio": "0.82",
                "road.final_drive_ratio": "4.06",
                "road.tyre": "205/55 R16",
            },
        ),
        ("how loud", {"loudness": "1500 64\n2200 75\n2350 79\n2500 76\n3300 69"}),
    ],
    ids=["hertz", "road", "loudness"],
)
def test_a_drone_told_in_other_ways(opened: Opened, choice: str, fields: dict[str, str]) -> None:
    page = opened().page
    page.get_by_label(choice).check()
    bench.type_all(page, fields)
    name, value, _ = bench.headline(page)
    assert name == "build it"
    assert 700 < float(value.split()[0]) < 1900


def test_where_on_the_pipe_room_and_two(opened: Opened) -> None:
    page = opened().page
    page.locator("#more-questions > summary").click()
    assert "dB off the drone" in page.locator("#head-place").inner_text()
    bench.field(page, "two_branches.arrangement").select_option("same pipe")
    page.get_by_role("button", name="Compare stock tubes").click()
    bench.settle(page)
    assert "holds back" in page.locator("#two-words").inner_text()
    assert page.locator("#tubes tbody tr").count() > 2
    assert page.locator("#space-words").inner_text() != ""


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
    assert not re.search(r"\bcut \d", all_text(page), re.IGNORECASE)


def test_a_cap_that_moves_is_heard_with_its_length(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    page.get_by_role("button", name="Add a place of the cap").click()
    bench.field(page, "heard.0.quiet_rpm").fill("2350")
    bench.field(page, "heard.0.centreline_length_mm").fill("1240")
    bench.settle(page)
    assert "Fitted" in page.locator("[data-heard]").inner_text()


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


SMALL_TARGETS = """() => {
    const tapped = "main button, main input[data-path], main select, main summary, .choice label";
    const height = (node) => node.getBoundingClientRect().height;
    return [...document.querySelectorAll(tapped)]
        .filter((node) => node.checkVisibility() && height(node) > 0 && height(node) < 47.5)
        .map((node) => node.outerHTML.slice(0, 80));
}"""


def test_a_phone_has_a_short_page_and_large_targets(opened: Opened) -> None:
    page = opened(PHONE).page
    assert page.evaluate("() => document.documentElement.scrollHeight") < 4300  # it was 8,600
    small = page.evaluate(SMALL_TARGETS)
    assert small == []
    bench.unfold(page)
    sideways = page.evaluate("() => document.documentElement.scrollWidth")
    assert sideways == PHONE["width"]
    cells = page.locator("#cut-list td, #cut-list th")
    for box in (cell.bounding_box() for cell in cells.all()):
        assert box is not None
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
