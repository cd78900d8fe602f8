"""What the tests do on the page, in the words of the page."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest

from warmbranch_service.length.examples import example_text
from warmbranch_service.local import length_of, steady_of

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

PATIENCE_MS = 120_000
"""For an answer on a busy machine: no measure of speed."""

SETTLED = "html[data-settled='true']"
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1440, "height": 900}
TABLET = {"width": 768, "height": 1024}
SIZES = pytest.mark.parametrize("viewport", [PHONE, TABLET, DESK], ids=["390", "768", "1440"])

VAN_MM = {
    "case.branch.outside_diameter_mm": "48.3",
    "case.branch.wall_thickness_mm": "1.5",
    "case.branch.centreline.0.straight_mm": "180",
    "case.branch.centreline.1.bend_deg": "90",
    "case.branch.centreline.1.bend_radius_mm": "72",
    "case.branch.centreline.2.straight_mm": "1000",
    "case.main_pipe.outside_diameter_mm": "60.3",
    "case.main_pipe.wall_thickness_mm": "1.5",
    "case.main_pipe.gas_temperature_degC": "310",
    "case.main_pipe.mass_flow_kg_h": "95",
    "case.surroundings.air_temperature_degC": "18",
    "case.surroundings.air_speed_m_s": "4",
    "case.engine.cylinders": "4",
    "target_rpm": "2350",
}
"""The invented van with a branch 60 mm longer than the demo's, so that there is much to cut."""

VAN_IN = VAN_MM | {
    "case.branch.outside_diameter_mm": "1.902",
    "case.branch.wall_thickness_mm": "0.059",
    "case.branch.centreline.0.straight_mm": "7 1/16",
    "case.branch.centreline.1.bend_radius_mm": "2.835",
    "case.branch.centreline.2.straight_mm": "39 3/8",
    "case.main_pipe.outside_diameter_mm": "2 3/8",
    "case.main_pipe.wall_thickness_mm": "0.059",
    "case.main_pipe.gas_temperature_degC": "590",
    "case.surroundings.air_temperature_degC": "64.4",
    "case.surroundings.air_speed_m_s": "9 mph",
}
"""The same to within a tape's sixteenths."""

READINGS_MM = [(100, 105), (200, 62), (350, 34), (560, 24), (900, 20)]
"""Invented: position in mm, displayed in °C; they lie near what the model says of the van."""

HEARD_RPM = 2160


def field(page: Page, path: str) -> Locator:
    return page.locator(at(path))


def settle(page: Page) -> None:
    """Wait until all that is asked is answered; the time is no measure of speed."""
    page.wait_for_selector(SETTLED, timeout=PATIENCE_MS)
    # Answers are drawn with the next frame.
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def comes_true(page: Page, check: Callable[[], bool]) -> bool:
    """Whether something holds before long."""
    for _ in range(PATIENCE_MS // 100):
        if check():
            return True
        page.wait_for_timeout(100)
    return check()


ENTER = """(steps) => {
  for (const [selector, text] of steps) {
    const node = document.querySelector(selector);
    if (text === null) node.click();
    else {
      node.focus();
      node.value = text;
      node.dispatchEvent(new InputEvent("input", { bubbles: true }));
    }
  }
}"""
"""Presses and entries one after the other, before the page asks anything: one answer to all."""

Steps = list[tuple[str, str | None]]
"""A selector each, and the text that is entered there, or None where it is pressed."""


def enter(page: Page, steps: Steps, by_hand: bool = False) -> None:
    """Press and type; ``by_hand`` as a user would, with a question to the service after each."""
    if by_hand:
        for selector, text in steps:
            place = page.locator(selector)
            if text is None:
                place.click()
            else:
                place.fill(text)
    else:
        page.evaluate(ENTER, steps)
    settle(page)


def at(path: str) -> str:
    """The selector of a field."""
    return f"[data-path='{path}']"


def type_all(page: Page, values: Mapping[str, str], by_hand: bool = False) -> None:
    enter(page, [(at(path), text) for path, text in values.items()], by_hand)


def use_inches(page: Page) -> None:
    page.get_by_label("Lengths").select_option("in")
    page.get_by_label("Degrees").select_option("degF")


def reading_steps(inches: bool) -> Steps:
    steps: Steps = []
    for place, (position, shown) in enumerate(READINGS_MM):
        where = f"{position / 25.4:.2f}" if inches else f"{position}"
        degrees = f"{shown * 1.8 + 32:.1f}" if inches else f"{shown}"
        steps += [
            ("#add-reading", None),
            (at(f"readings.{place}.position_mm"), where),
            (at(f"readings.{place}.displayed_degC"), degrees),
        ]
    return steps


def heard_steps(rpm: float, place: int = 0) -> Steps:
    told, doubt = at(f"heard.{place}.quiet_rpm"), at(f"heard.{place}.uncertainty_rpm")
    return [("#add-heard", None), (told, f"{rpm}"), (doubt, "20")]


def add_readings(page: Page, inches: bool, by_hand: bool = False) -> None:
    enter(page, reading_steps(inches), by_hand)


def add_heard(page: Page, rpm: float, place: int = 0, by_hand: bool = False) -> None:
    enter(page, heard_steps(rpm, place), by_hand)


IT_IS_BUILT: Steps = [("#built-choice input[value='yes']", None), ("#ask-no", None)]
"""As long as typed, whatever was advised."""


def measured(page: Page, values: Mapping[str, str] = VAN_MM, readings: bool = True) -> None:
    """The longer van, built, read in mm and heard: all said in one go, with one answer to it."""
    steps = [*IT_IS_BUILT, *((at(path), text) for path, text in values.items())]
    steps += reading_steps(inches=False) if readings else []
    enter(page, [*steps, *heard_steps(HEARD_RPM)])


def stands(page: Page, *, as_advised: bool = False) -> None:
    """Say that the branch is built, and how long, and wait for what that changes."""
    page.get_by_label("It is built").click()
    if page.locator("#ask").is_visible():
        page.locator("#ask-yes" if as_advised else "#ask-no").click()
    settle(page)


def unfold(page: Page, *, numbers: bool = False) -> None:
    """Open what folds, as a phone has it at the start, and the tables of ``numbers`` if asked.

    Those have some eight hundred rows, laid out anew with each answer.
    """
    page.evaluate(
        "(which) => document.querySelectorAll(which).forEach((d) => { d.open = true; })",
        "details" if numbers else "details:not(.numbers)",
    )


def all_text(page: Page) -> str:
    """The page's and the sheet's words, folded or not, without what the service itself warns of."""
    page.evaluate("() => dispatchEvent(new Event('beforeprint'))")
    return page.evaluate(
        "() => { const copy = document.body.cloneNode(true);"
        " copy.querySelectorAll('[hidden], #cautions, #cautions-more, #safety-more')"
        ".forEach((n) => n.remove()); return copy.textContent; }"
    ).replace("\u00a0", " ")


def headline(page: Page) -> tuple[str, str, str]:
    """Name, value and what stands beside it, on the plate; spaces as plain ones."""
    parts = (page.locator(f"#head-{part}").inner_text() for part in ("name", "value", "beside"))
    name, value, beside = (part.replace("\u00a0", " ") for part in parts)
    return name, value, beside


class Example(NamedTuple):
    """What the service answers of the untouched example: the page is to say the same."""

    right_mm: int
    build_mm: int
    quiet_rpm: int
    hertz: float


@cache
def example() -> Example:
    body = json.loads(example_text("length"))
    length = length_of(json.dumps({"case": body["case"], "target": body["target"]}).encode())
    steady = steady_of(json.dumps({"case": body["case"]}).encode()).resonance
    assert steady.quiet_rpm is not None
    assert steady.frequency_Hz[0] is not None
    right, build = round(length.centreline_length_mm), math.ceil(length.build_length_mm)
    return Example(right, build, round(steady.quiet_rpm), steady.frequency_Hz[0])


def quiet_rpm_with(straight_mm: float) -> float:
    """What the service answers of the example with another last straight."""
    case = json.loads(example_text("length"))["case"]
    case["branch"]["centreline"][-1]["straight_mm"] = straight_mm
    found = steady_of(json.dumps({"case": case}).encode()).resonance.quiet_rpm
    assert found is not None
    return found


def last_straight_mm() -> float:
    """Of the example."""
    return float(
        json.loads(example_text("length"))["case"]["branch"]["centreline"][-1]["straight_mm"]
    )


def example_headline(page: Page) -> int:
    """The build length of the untouched example in mm, as the page and the service tell it."""
    name, value, beside = headline(page)
    assert (name, beside) == ("build it", f"right length {example().right_mm} mm")
    assert value == f"{example().build_mm} mm"
    assert example().build_mm > example().right_mm
    return example().build_mm


def quiet_rpm(page: Page) -> float:
    """The quiet rpm on the plate: the number itself, or beside the advice to cut."""
    name, value, beside = headline(page)
    found = re.search(r"(\d+) rpm", value if name == "quiet at" else beside)
    assert found, (name, value, beside)
    return float(found[1])


def kept_job(page: Page) -> dict[str, Any]:
    """What the browser keeps of the job that is open."""
    return page.evaluate(
        "() => JSON.parse(localStorage.getItem("
        "'warmbranch.job.' + sessionStorage.getItem('warmbranch.open')))"
    )


def pdf_pages(page: Page, paper: str) -> int:
    content = page.pdf(format=paper)
    return len(re.findall(rb"/Type\s*/Page(?![a-zA-Z])", content))


class Effort(NamedTuple):
    """What it takes from opening the page to a build length for a new car."""

    taps: int
    keys: int
    screens: float


def new_car(page: Page) -> Effort:
    """Ask for a build length of a car of one's own, on a page in inches, by as little as may be."""
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
    settle(page)
    return Effort(taps, keys, page.evaluate("() => scrollY / innerHeight"))
