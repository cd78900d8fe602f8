"""My finished jobs: several files are learned from, kept, shown and used for the next."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bench
import pytest
from serving import Watched

from warmbranch_service.http.openapi import request_examples
from warmbranch_service.length.examples import example_text
from warmbranch_service.local import steady_of

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


def files(folder: Path) -> list[str]:
    """A job as the page saves it, with a cut, and two requests to fit."""
    case = json.loads(example_text("length"))["case"]
    heard = [{"quiet_rpm": 2290, "uncertainty_rpm": 20, "after_cuts": 1}]
    of_page: dict[str, Any] = {
        "warmbranch_job": 1,
        "name": "blue van",
        "built": True,
        "case": case,
        "trims": [{"cut_mm": 12}],
        "readings": [
            {
                "position_mm": 90,
                "displayed_degC": 101,
                "thermometer": "infrared",
                "surface": "matt black paint",
                "after_cuts": 1,
            }
        ],
        "heard": heard,
    }
    fit = request_examples.fit()["readings"]["value"]
    found = {"blue": of_page, "red": fit, "grey": {**fit, "heard": [{"quiet_rpm": 2350}]}}
    paths = []
    for name, content in found.items():
        path = folder / f"{name}.json"
        path.write_text(json.dumps(content), encoding="utf-8")
        paths.append(str(path))
    return paths


def add(page: Any, paths: list[str]) -> None:
    page.locator("#finished-files").set_input_files(paths)
    page.wait_for_function(
        "() => !document.getElementById('finished-choose').disabled"
        " && (document.querySelector('#finished-chart svg')"
        " || document.getElementById('finished-said').textContent)"
    )


@pytest.mark.parametrize(
    "viewport", [bench.PHONE, {"width": 1280, "height": 900}], ids=["390", "1280"]
)
def test_several_files_narrow_the_next_branch(
    opened: Opened, viewport: dict[str, int], tmp_path: Path
) -> None:
    watched = opened(viewport)
    page = watched.page
    bench.unfold(page)
    bench.settle(page)
    paths = files(tmp_path)
    add(page, paths)
    assert page.locator("#finished-count").inner_text() == "3 kept"
    rows = page.locator("#finished-jobs tbody tr")
    assert [rows.nth(k).locator("th").inner_text() for k in range(3)] == ["blue van", "red", "grey"]
    words = page.locator("#finished-chart .words").first.inner_text()
    told = re.findall(r"(\d+) to (\d+) rpm", words)
    (untuned, tuned) = (float(high) - float(low) for low, high in told)
    (ratio,) = re.findall(r"by 3 jobs at [^,]*, (\d\.\d+) times as wide", words)
    # Ends are told to 1 rpm of some hundred between them.
    assert float(ratio) == pytest.approx(tuned / untuned, abs=0.03)
    assert told[0] != told[1]  # three jobs say something, though hardly of the width
    # The last of them is what the service says with what is kept.
    shop = page.evaluate("() => JSON.parse(localStorage.getItem('warmbranch.shop'))")
    case = json.loads(example_text("length"))["case"]
    # The page shows it built to the right length, told to 1 mm of some 2 rpm.
    own = steady_of(json.dumps({"case": case}).encode()).centreline_length_mm
    case["branch"]["centreline"][-1]["straight_mm"] += bench.example().right_mm - own
    case["closures"] = {"calibration": shop}
    found = steady_of(json.dumps({"case": case}).encode()).prediction
    assert found is not None
    assert found.quiet_rpm is not None
    assert [float(x) for x in told[1]] == pytest.approx(found.quiet_rpm.interval_90, abs=3)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    # A name that is there already is refused by its file, and nothing is lost.
    add(page, paths[:1])
    page.locator("#finished-said", has_text="blue.json: The job").wait_for()
    assert page.locator("#finished-count").inner_text() == "3 kept"
    watched.forget("status of 422")


def test_what_was_learned_is_used_kept_saved_and_forgotten(opened: Opened, tmp_path: Path) -> None:
    page = opened().page
    bench.unfold(page)
    bench.settle(page)
    add(page, files(tmp_path)[1:])
    page.get_by_role("button", name="Let the open job start from them").click()
    bench.settle(page)
    shop = bench.kept_job(page)["case"]["closures"]["calibration"]["shop"]
    assert [job["name"] for job in shop["jobs"]] == ["red", "grey"]
    assert "finished jobs taught" in page.locator("#learned-before").inner_text()
    with page.expect_download() as caught:
        page.get_by_role("button", name="Save what was learned").click()
    saved = tmp_path / "shop.json"
    caught.value.save_as(saved)
    assert json.loads(saved.read_text())["shop"] == shop
    page.reload()
    bench.settle(page)
    bench.unfold(page)
    assert page.locator("#finished-count").inner_text() == "2 kept"
    page.get_by_role("button", name="Forget it").click()
    bench.settle(page)
    assert page.locator("#finished-count").inner_text() == "none yet"
    assert "closures" not in bench.kept_job(page)["case"]
    add(page, [str(saved)])
    assert page.locator("#finished-count").inner_text() == "2 kept"


def test_a_file_that_is_no_job_is_named(opened: Opened, tmp_path: Path) -> None:
    page = opened().page
    bench.unfold(page)
    bench.settle(page)
    bad = tmp_path / "photo.json"
    bad.write_text("no JSON")
    add(page, [str(bad)])
    assert "photo.json: This file is not JSON" in page.locator("#finished-said").inner_text()
    assert page.locator("#finished-learned").is_hidden()
