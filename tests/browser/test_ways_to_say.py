"""Numbers as people have and write them: gas or skin, other units, other ways to tell a drone."""

from __future__ import annotations

import re
from collections.abc import Callable

import bench
import pytest
from serving import Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


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
    watched = opened(locale="en-US")
    page = watched.page
    assert bench.headline(page)[1].endswith(" in")
    assert page.locator("#units-temperature").input_value() == "degF"
    assert bench.field(page, "case.main_pipe.gas_temperature_degC").input_value() == "590"
    hints = page.evaluate("() => [...document.querySelectorAll('input')].map((n) => n.placeholder)")
    assert "0.059 in if empty" in [hint.replace("\u00a0", " ") for hint in hints]
    assert not [hint for hint in hints if re.search(r"\d.(mm|°C)\b", hint)]
    tube = bench.field(page, "case.branch.outside_diameter_mm")
    tube.fill("48.3")
    tube.press("Tab")
    beside = page.locator(f"#{tube.get_attribute('id')}-error")
    beside.get_by_text("Did you mean 48.3\u00a0mm? Then type it so.").wait_for()
    tube.fill("48.3 mm")
    bench.settle(page)
    assert bench.headline(page)[2] == "right length 45 9/16 in"
    watched.forget("status of 422")


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
        == "That is out of range: between 0.0197 and 0.197 in. Did you mean 4 mm? Then type it so."
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


def test_a_cap_that_moves_is_heard_with_its_length(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    page.get_by_role("button", name="Add a place of the cap").click()
    bench.field(page, "heard.0.quiet_rpm").fill("2350")
    bench.field(page, "heard.0.centreline_length_mm").fill("1240")
    bench.settle(page)
    assert "Fitted" in page.locator("[data-heard]").inner_text()


def test_where_on_the_pipe_room_and_two(opened: Opened) -> None:
    page = opened().page
    page.locator("#more-questions > summary").click()
    assert "dB off the drone" in page.locator("#head-place").inner_text()
    bench.field(page, "two_branches.arrangement").select_option("same pipe")
    page.get_by_role("button", name="Compare stock tubes").click()
    assert bench.comes_true(page, lambda: page.locator("#tubes tbody tr").count() > 2)
    bench.settle(page)
    assert "holds back" in page.locator("#two-words").inner_text()
    assert page.locator("#space-words").inner_text() != ""
