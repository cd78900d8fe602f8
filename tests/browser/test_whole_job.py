"""The whole job on the invented van, as somebody under a car would do it."""

from __future__ import annotations

import json
import urllib.request
from collections.abc import Callable
from pathlib import Path

import bench
import pytest
from bench import DESK, PHONE
from serving import Service, Watched

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


@pytest.mark.parametrize(
    ("viewport", "inches"),
    [
        pytest.param(PHONE, True, id="phone-in"),
        pytest.param(DESK, False, id="desk-mm", marks=pytest.mark.long),
        pytest.param(PHONE, False, id="phone-mm", marks=pytest.mark.long),
        pytest.param(DESK, True, id="desk-in", marks=pytest.mark.long),
    ],
)
def test_the_whole_job(
    opened: Opened, service: Service, tmp_path: Path, viewport: dict[str, int], inches: bool
) -> None:
    page = opened(viewport, reduced_motion="no-preference").page
    # An answer before anything is typed: the demo's, as the README has it.
    bench.example_headline(page)
    bench.unfold(page)
    bench.stands(page)
    assert bench.quiet_rpm(page) == bench.example().quiet_rpm

    if inches:
        bench.use_inches(page)
    bench.type_all(page, bench.VAN_IN if inches else bench.VAN_MM, by_hand=True)
    # Longer by some 60 mm; sixteenths are worth 3 rpm.
    before = bench.quiet_rpm(page)
    assert before == pytest.approx(bench.quiet_rpm_with(1000), abs=6)
    assert before < bench.example().quiet_rpm - 20

    bench.add_readings(page, inches, by_hand=True)
    bench.add_heard(page, bench.HEARD_RPM, by_hand=True)
    assert "fits what was read" in page.locator("#fit-outcome").inner_text()
    assert page.locator("[data-residual]", has_text="Fitted").count() == 5
    # Heard with 20 rpm of doubt: the plate goes to it, within three of them.
    assert bench.quiet_rpm(page) == pytest.approx(bench.HEARD_RPM, abs=60)

    name, advice, _ = bench.headline(page)
    assert name == "cut now"
    assert advice.endswith("in" if inches else "mm")
    bench.field(page, "draft_cut_mm").fill("1" if inches else "25")
    bench.settle(page)
    assert "too far" in page.locator("#slider-chance").inner_text()
    page.get_by_role("button", name="I have cut this").click()
    bench.settle(page)
    assert bench.quiet_rpm(page) > bench.HEARD_RPM
    assert page.locator("#records li").count() == 1

    page.emulate_media(media="print")
    assert [bench.pdf_pages(page, paper) for paper in ("A4", "Letter")] == [2, 2]
    page.emulate_media(media="screen")

    with page.expect_download() as download:
        page.get_by_role("button", name="Save", exact=True).click()
    saved = tmp_path / "job.json"
    download.value.save_as(saved)
    job = json.loads(saved.read_text(encoding="utf-8"))
    assert len(job["readings"]) == 5
    assert len(job["trims"]) == 1

    quiet = bench.quiet_rpm(page)
    page.reload()
    bench.settle(page)
    assert bench.quiet_rpm(page) == quiet
    assert bench.kept_job(page) == job

    bench.unfold(page)
    page.get_by_role("button", name="Example: van").click()
    page.get_by_role("button", name="Open the example").click()
    page.get_by_text("An invented example").wait_for()
    bench.settle(page)
    assert bench.headline(page)[0] == "build it"
    page.locator("#file").set_input_files(saved)
    page.get_by_text("Opened from job.json").wait_for()
    bench.settle(page)
    assert bench.quiet_rpm(page) == quiet
    assert bench.kept_job(page) == job


def test_what_is_saved_is_what_the_service_takes(
    opened: Opened, service: Service, tmp_path: Path
) -> None:
    page = opened().page
    bench.stands(page)
    bench.add_readings(page, inches=False)
    with page.expect_download() as download:
        page.get_by_role("button", name="Save", exact=True).click()
    job = json.loads(Path(download.value.path()).read_text(encoding="utf-8"))
    readings = [{k: v for k, v in r.items() if k != "after_cuts"} for r in job["readings"]]
    body = {"case": job["case"], "readings": readings, "target_rpm": job["target_rpm"]}
    request = urllib.request.Request(
        f"{service.address}/v1/fit",
        json.dumps(body).encode(),
        {"content-type": "application/json"},
    )
    with urllib.request.urlopen(request) as response:
        assert len(json.load(response)["residuals"]) == 5


def test_a_cut_can_be_taken_back(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    bench.field(page, "draft_cut_mm").fill("12.5")
    page.get_by_role("button", name="I have cut this").click()
    bench.settle(page)
    assert bench.quiet_rpm(page) > bench.example().quiet_rpm + 10
    page.reload()  # so that it does not hang on the memory of undo
    bench.settle(page)
    page.get_by_role("button", name="Take back").click()
    bench.settle(page)
    assert bench.quiet_rpm(page) == bench.example().quiet_rpm
    assert bench.kept_job(page)["trims"] == []
    assert bench.field(page, "draft_cut_mm").input_value() == "12.5"
    page.get_by_role("button", name="Undo").click()
    bench.settle(page)
    assert bench.comes_true(page, lambda: bench.quiet_rpm(page) > bench.example().quiet_rpm + 10)


def test_readings_go_with_the_build_they_were_taken_on(opened: Opened) -> None:
    page = opened().page
    bench.stands(page)
    bench.type_all(page, {"case.branch.centreline.2.straight_mm": "935"})
    bench.add_heard(page, 2240)
    bench.field(page, "draft_cut_mm").fill("20")
    page.get_by_role("button", name="I have cut this").click()
    bench.add_heard(page, 2285, place=1)
    # Both tones belong to one branch, each to its own length, and both fit.
    assert "1228\u00a0mm" in page.locator("#heard li").nth(0).inner_text()
    assert "1208\u00a0mm" in page.locator("#heard li").nth(1).inner_text()
    assert "fits what was read" in page.locator("#fit-outcome").inner_text()
    # Heard last at 2285 with 20 rpm of doubt, and the first tone draws it down a little.
    assert bench.quiet_rpm(page) == pytest.approx(2283, abs=20)


def test_the_service_dies_and_comes_back(opened: Opened, service: Service) -> None:
    watched = opened(PHONE)
    page = watched.page
    bench.unfold(page)
    bench.stands(page)
    try:
        service.kill()
        bench.field(page, "case.branch.centreline.2.straight_mm").fill("935")
        page.get_by_role("button", name="Add what you heard").click()
        page.locator("#connection").wait_for()
        assert "All you typed is kept" in page.locator("#connection-words").inner_text()
        bench.field(page, "heard.0.quiet_rpm").fill("2240")
        assert bench.kept_job(page)["heard"][0]["quiet_rpm"] == 2240
    finally:
        service.start()
    # Until its compiled loops are loaded, the service follows a warm-up slowly.
    bench.settle(page)
    page.locator("#connection").wait_for(state="hidden")
    assert bench.quiet_rpm(page) == pytest.approx(2240, abs=60)
    page.reload()
    bench.settle(page)
    assert bench.field(page, "case.branch.centreline.2.straight_mm").input_value() == "935"
    assert bench.field(page, "heard.0.quiet_rpm").input_value() == "2240"
    watched.forget("net::ERR_")
    watched.forget("status of 503")  # of that slow warm-up, beyond the time of a request


def test_errors_stand_beside_their_fields(opened: Opened) -> None:
    watched = opened()
    page = watched.page
    wall = bench.field(page, "case.branch.wall_thickness_mm")
    bench.stands(page)
    wall.fill("thick")
    bench.field(page, "case.main_pipe.gas_temperature_degC").fill("3100")
    wall.focus()
    bench.settle(page)
    bench.field(page, "case.branch.outside_diameter_mm").focus()
    assert wall.get_attribute("aria-invalid") == "true"
    beside = page.locator(f"#{wall.get_attribute('id')}-error")
    assert "“thick” is not understood" in beside.inner_text()
    assert "2 entries" in page.locator("#error-count").inner_text()
    assert "of before" in page.locator("#error-count").inner_text()
    # What was typed stays, over a reload too.
    page.reload()
    bench.settle(page)
    assert wall.input_value() == "thick"
    wall.fill("1.5")
    bench.field(page, "case.main_pipe.gas_temperature_degC").fill("310")
    bench.settle(page)
    assert wall.get_attribute("aria-invalid") is None
    assert bench.quiet_rpm(page) == bench.example().quiet_rpm
    # The browser itself reports each answer of 422.
    watched.forget("status of 422")
