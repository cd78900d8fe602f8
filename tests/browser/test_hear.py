"""From a recording to a trim advice, on a phone; the recordings are made up, with truths known."""

from __future__ import annotations

import io
import re
import wave
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import bench
import numpy as np
import pytest
import soundfile
from bench import PATIENCE_MS, PHONE
from playwright.sync_api import Browser, Page
from scipy import signal
from serving import Service, Watched, launched

from shared.recordings import VAN_QUIET_RPM, Recording, van_before_and_after

pytestmark = pytest.mark.browser

Opened = Callable[..., Watched]


@pytest.fixture(scope="module")
def drives() -> tuple[Recording, Recording]:
    return van_before_and_after()


@pytest.fixture(scope="module")
def files(
    drives: tuple[Recording, Recording], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, Path]:
    """As a phone may save them: one mono at 8 kHz, the other stereo at 48 kHz, compressed."""
    folder = tmp_path_factory.mktemp("recordings")
    before, after = drives
    soundfile.write(folder / "before.wav", before.samples, 8000)
    wide = signal.resample_poly(after.samples, 6, 1)
    soundfile.write(folder / "after.flac", np.stack([wide, wide], 1), 48_000)
    return folder / "before.wav", folder / "after.flac"


def choose(page: Page, files: tuple[Path, Path]) -> None:
    page.locator("#hear-from-step-1").click()
    for side, file in zip(("before", "after"), files, strict=True):
        page.locator(f"#hear-{side}-file").set_input_files(file)
        page.locator(f"#hear-{side}-list li", has_text=file.name).wait_for()
    bench.field(page, "hear.lowest_rpm").fill("1300")
    bench.field(page, "hear.highest_rpm").fill("4000")
    page.get_by_label("yes, not touched").check()
    bench.settle(page)


def listen(page: Page) -> str:
    page.get_by_role("button", name="Listen to them").click()
    page.locator("#hear-answer").wait_for()
    return page.locator("#hear-words").inner_text()


WATCH = """() => {
  const own = window.fetch;
  window.forms = [];
  window.fetch = (address, options) => {
    if (options?.body instanceof FormData) window.forms.push(options.body);
    return own(address, options);
  };
}"""
"""Chromium shows no test what a form with files holds, so the page is asked."""


def sent(page: Page, count: int) -> dict[str, Any]:
    """The JSON part of the form that was sent as the count-th."""
    page.wait_for_function("(count) => window.forms.length >= count", arg=count)
    page.locator("#hear-listen:enabled").wait_for()
    return page.evaluate("async () => JSON.parse(await window.forms.at(-1).get('request').text())")


def speeds_in(words: str) -> list[float]:
    return [float(speed) for speed in re.findall(r"(\d{3,4})(?= to| rpm)", words)]


def sent_file(page: Page, side: str) -> bytes:
    told = page.evaluate(
        "async (side) => { const part = window.forms.at(-1).get(side);"
        " return (await new Response(part).bytes()).toBase64(); }",
        side,
    )
    return b64decode(told)


def test_from_two_files_to_a_trim_advice(
    opened: Opened, files: tuple[Path, Path], drives: tuple[Recording, Recording]
) -> None:
    page = opened(PHONE).page
    bench.stands(page)
    bench.type_all(page, {"case.branch.centreline.2.straight_mm": "1000"})
    choose(page, files)
    page.evaluate(WATCH)
    words = listen(page)
    body = sent(page, 1)
    assert body["same_place"] is True
    # The model's own opinion is not to count twice, here and in the fit.
    assert (body["prior"], "case" in body) == ("none", True)
    for side in ("before", "after"):  # mono at 8 kHz, 16 bits, whatever was chosen
        assert len(sent_file(page, side)) == pytest.approx(14 * 16_000, rel=0.01)
    loudest = re.search(r"loudest at (\d+) rpm", words)
    bites = re.search(r"bites at (\d+) rpm, 90 % between (\d+) and (\d+) rpm", words)
    assert loudest
    assert bites
    drone = drives[0].drone_rpm
    assert drone is not None
    assert float(loudest[1]) == pytest.approx(drone, rel=0.04)
    assert float(bites[1]) == pytest.approx(VAN_QUIET_RPM, rel=0.03)
    assert int(bites[2]) < int(bites[1]) < int(bites[3])
    assert page.locator("#hear-charts svg[role=img]").count() == 2
    assert page.locator("#hear-pictures canvas").count() == 2
    # The engine's main order is drawn, and some others in which its octave shows.
    assert page.locator("#hear-pictures .track").count() == 2
    assert page.locator("#hear-pictures .other-order").count() > 2
    assert page.evaluate("() => document.documentElement.scrollWidth") == PHONE["width"]

    page.locator("#use-drone").click()
    page.locator("#use-quiet").click()
    bench.settle(page)
    job = bench.kept_job(page)
    assert job["target_rpm"] == int(loudest[1])
    assert job["heard"][0]["quiet_rpm"] == pytest.approx(float(bites[1]), abs=0.51)
    assert len(job["loudness"].splitlines()) > 5
    # The drone lies above the quiet speed, so that something is to come off.
    name, value, beside = bench.headline(page)
    assert (name, value.split()[1]) == ("cut now", "mm")
    assert 0 < float(value.split()[0]) < 200
    assert beside.startswith("quiet at ")
    # The curve is there for whoever wants the drone told by it.
    page.get_by_label("how loud").check()
    bench.settle(page)
    assert bench.field(page, "loudness").input_value() == job["loudness"]


def test_the_track_is_corrected_by_hand(opened: Opened, files: tuple[Path, Path]) -> None:
    watched = opened(PHONE)
    page = watched.page
    choose(page, files)
    page.evaluate(WATCH)
    listen(page)
    figure = page.locator("#hear-pictures figure").first
    first = figure.locator(".words").inner_text()
    figure.get_by_role("button", name="It is half of that").click()
    body = sent(page, 2)
    speeds = [one["rpm"] for one in body["rpm_at"]]
    assert {one["recording"] for one in body["rpm_at"]} == {"before"}
    assert 600 < min(speeds) < max(speeds) < 1700
    assert body["lowest_rpm"] < min(speeds)
    figure.get_by_role("button", name="As first heard").click()
    assert "rpm_at" not in sent(page, 3)
    again = figure.locator(".words").inner_text()
    # Within a wider range now, hence to a few rpm.
    assert speeds_in(again) == pytest.approx(speeds_in(first), abs=5)
    picture = figure.locator(".waterfall")
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    assert box is not None
    middle = box["y"] + 0.5 * box["height"]
    page.mouse.move(box["x"] + 0.5 * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.7 * box["width"], middle)
    page.mouse.up()
    sent(page, 4)
    with wave.open(io.BytesIO(sent_file(page, "before"))) as sound:
        samples = np.frombuffer(sound.readframes(sound.getnframes()), "<i2")
        rate = sound.getframerate()
    left_out = samples[int(0.52 * 14 * rate) : int(0.68 * 14 * rate)]
    assert not left_out.any()
    assert samples[: int(0.4 * 14 * rate)].any()
    assert "One stretch is left out" in figure.locator(".words").inner_text()
    watched.forget("status of 422")


def test_the_track_is_corrected_by_keyboard(opened: Opened, files: tuple[Path, Path]) -> None:
    """The same as by tap and drag: the engine is there, and a stretch is left out."""
    page = opened().page
    choose(page, files)
    page.evaluate(WATCH)
    listen(page)
    figure = page.locator("#hear-pictures figure").first
    figure.locator(".waterfall").focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    told = figure.locator(".cross-told").inner_text()
    found = re.fullmatch(r"([\d.]+) s, (\d+) rpm", told)
    assert found, told
    page.keyboard.press("Enter")
    known = sent(page, 2)["rpm_at"]
    assert len(known) == 1
    assert known[0]["time_s"] == pytest.approx(float(found[1]), abs=0.06)
    assert known[0]["rpm"] == pytest.approx(float(found[2]), abs=1)
    # The focus stays, so that the next key goes on from here.
    page.keyboard.press("Space")
    assert "a stretch from" in figure.locator(".cross-told").inner_text()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Space")
    sent(page, 3)
    with wave.open(io.BytesIO(sent_file(page, "before"))) as sound:
        samples = np.frombuffer(sound.readframes(sound.getnframes()), "<i2")
        rate = sound.getframerate()
    begins = known[0]["time_s"]
    assert not samples[int((begins + 0.1) * rate) : int((begins + 0.9) * rate)].any()
    assert "One stretch is left out" in figure.locator(".words").inner_text()


def test_what_cannot_be_heard_is_said(opened: Opened, tmp_path: Path) -> None:
    page = opened(PHONE).page
    page.locator("#hear-from-step-1").click()
    said = page.locator("#hear-said")
    text = tmp_path / "notes.wav"
    text.write_text("this is text")
    page.locator("#hear-before-file").set_input_files(text)
    said.locator("text=notes.wav cannot be read as a recording").wait_for()
    short = tmp_path / "short.wav"
    soundfile.write(short, np.zeros(4000, np.float32), 8000)
    page.locator("#hear-before-file").set_input_files(short)
    said.locator("text=lasts 0.5 s").wait_for()
    noise = tmp_path / "noise.wav"
    soundfile.write(noise, np.random.default_rng(1).standard_normal(40_000) / 10, 8000)
    # What a phone's own recorder hands over, where the page may not use the microphone.
    page.locator("#hear-before-capture").set_input_files(noise)
    page.locator("#hear-before-list li").wait_for()
    page.get_by_role("button", name="Listen to them").click()
    said.locator("text=Say which engine speeds").wait_for()
    for word in ("passenger records", "Never operate a phone while driving", "Carbon monoxide"):
        assert word in page.locator("#hear").inner_text()


def test_the_browser_reduces_without_folding(opened: Opened) -> None:
    """A tone above half of the new rate is gone; one below keeps its level and its pitch."""
    page = opened().page
    rate, seconds = 48_000, 4
    time = np.arange(rate * seconds) / rate
    for hertz, amplitude in ((300.0, 0.5), (5000.0, 0.0)):
        content = io.BytesIO()
        soundfile.write(content, 0.5 * np.sin(2 * np.pi * hertz * time), rate, format="WAV")
        found = page.evaluate(
            "async (text) => { const r = await import('/page/recording.js');"
            " const file = new File([Uint8Array.fromBase64(text)], 'tone.wav');"
            " const samples = Float32Array.from((await r.decoded(file)).samples);"
            " return new Uint8Array(samples.buffer).toBase64(); }",
            b64encode(content.getvalue()).decode(),
        )
        samples = np.frombuffer(b64decode(found), np.float32).astype(np.float64)
        assert len(samples) == pytest.approx(8000 * seconds, abs=2)
        inner = samples[2000:-2000]
        told = np.sqrt(2 * np.mean(inner**2))
        # 1 %, some 0.1 dB, of the tone; of one that would fold down, 40 dB down.
        assert told == pytest.approx(amplitude, abs=0.005)


@pytest.fixture
def microphone(browser: Browser, service: Service, files: tuple[Path, Path]) -> Iterator[Page]:
    """A page in a browser whose microphone plays the recording before."""
    fake = [
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={files[0]}",
    ]
    own = launched(browser.browser_type, *fake)
    page = own.new_page(viewport=PHONE, locale="en-GB", permissions=["microphone"])
    page.set_default_timeout(PATIENCE_MS)
    page.goto(service.address)
    bench.settle(page)
    yield page
    own.close()


def test_the_microphone_where_the_page_may_use_it(microphone: Page) -> None:
    page = microphone
    page.locator("#hear-from-step-1").click()
    button = page.locator("#hear-before-record")
    button.click()
    page.locator("#hear-before-record", has_text=re.compile(r"Stop \(([4-9]|\d\d+) s\)")).wait_for()
    button.click()
    page.locator("#hear-before-list li", has_text="recorded").wait_for()
    assert button.inner_text() == "Record"
