"""Sentences of the answer to ``POST /v1/length``: the summary, cautions, trade-offs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from warmbranch.base.constants import GRAVITY
from warmbranch.case.case import Case
from warmbranch.length.bandwidth import LossBand
from warmbranch.length.build_long import TrimPlan
from warmbranch.length.compromise import Compromise
from warmbranch.length.length_for_tone import LONGEST, Sized, one_temperature_length
from warmbranch.length.pair import Stagger
from warmbranch.steady.answer import Answer
from warmbranch.steady.cautions import LEAK_DIAMETER, Finding, findings
from warmbranch.steady.leak import OVERPRESSURE, leak_heat
from warmbranch_service.case.convert import MM, celsius
from warmbranch_service.case.sentences import caution_of, cautions_of
from warmbranch_service.contract.caution import Caution
from warmbranch_service.length.parts import PlaceAnswer
from warmbranch_service.length.points import THE_CASE, Points
from warmbranch_service.length.request import LengthRequest

if TYPE_CHECKING:
    from warmbranch_service.length.as_built import AsBuilt

SOAK_K = 50.0
"""Allowed on top of the cap's predicted temperature: full load, and heat that soaks in after a
stop. Our judgement."""

EXPANSION_PER_K = 17e-6
"""Of austenitic stainless, the largest of the usual metals; 1/K, from memory."""

LEAST_ARM = 1e-3
"""m, of a weight on the weld: what is less is rounding, not a bending moment."""

WATER_MM = 10.0

SEALS = (
    (60.0, "ordinary two-part epoxy, whose general limit is 50 to 80 °C"),
    (140.0, "high-temperature epoxy, in general good to 120 to 180 °C"),
    (200.0, "silicone, in general good to 200 to 260 °C"),
    (290.0, "high-temperature silicone, in general good to 300 to 340 °C"),
    (500.0, "graphite or mica gaskets, in general good to 400 to 650 °C"),
    (900.0, "water-glass exhaust paste, in general good to 600 °C and more, but brittle"),
)
"""Highest cap temperature with its allowance, °C, and the mildest class of sealant that bears it.
General classes from memory; the maker's data sheet goes first."""


def summary(
    request: LengthRequest, points: Points, sized: Sized, found: Compromise | None, build: float
) -> str:
    """The answer in plain words."""
    right = float(sized.length[0]) / MM
    rule = float(
        one_temperature_length(sized.frequency, sized.answer.case.main_pipe.gas_temperature)[0]
    )
    tone, order = float(sized.frequency[0]), points.order
    what = f"{tone:.1f} Hz" if order is None else f"{tone * 60 / order:.0f} rpm ({tone:.1f} Hz)"
    if found is None:
        first = f"A branch of {right:.1f} mm along the centre-line quietens {what}."
    elif points.tone is None:
        first = (
            f"A branch of {right:.1f} mm along the centre-line leaves the least: "
            f"{found.objective_before:.1f} dB become {found.objective_after:.1f} dB "
            f"({points.aim.value}). At {points.names[points.main]} it quietens {what}."
        )
    else:
        first = (
            f"A branch of {right:.1f} mm along the centre-line serves the "
            f"{len(points.names)} operating points best; at {points.names[points.main]} it "
            f"quietens {what}."
        )
    chance = request.build.chance_too_short_percent
    return (
        f"{first} Build it {build / MM:.1f} mm long and trim: the chance that this is too short "
        f"is {chance:g} % or less. One gas temperature all along would give {rule / MM:.0f} mm, "
        f"{abs(rule / MM - right):.0f} mm too {'long' if rule / MM > right else 'short'}."
    )


def length_cautions(
    request: LengthRequest,
    points: Points,
    answer: Answer,
    build: float,
    shape: AsBuilt,
    place: PlaceAnswer | None,
    trim: TrimPlan,
) -> list[Caution]:
    """All that a builder should know, the most particular first."""
    main, found = points.main, findings(answer)
    own = [
        *_of_shape(request, shape, build),
        *_of_place(place),
        *_of_condensate(points, answer, found, trim),
        _cap_seal(points, answer),
        _leak(answer, main),
        _support(answer, main, shape),
    ]
    rest = cautions_of(found[main])
    known = {caution.code for caution in rest}
    for name, of_point in zip(points.names, found, strict=True):
        for finding in of_point:
            if finding.code not in known:
                known.add(finding.code)
                caution = caution_of(finding)
                own.append(caution.model_copy(update={"message": f"At {name}: {caution.message}"}))
    return [*own, *points.converted[main].cautions, *rest]


def _of_shape(request: LengthRequest, shape: AsBuilt, build: float) -> list[Caution]:
    said: list[Caution] = []

    def say(code: str, message: str, field: str) -> None:
        said.append(Caution(code=code, message=message, field=field))

    if build > LONGEST:
        say(
            "build_at_limit",
            f"The length to build is beyond the {LONGEST / MM:.0f} mm that the model admits; it "
            "is told at that limit. The chance of being too short is stated as it is.",
            "target",
        )
    if shape.bends_lost:
        say(
            "bends_beyond_cap",
            "The branch ends before the last bend that was given; the rest is left out.",
            "case.branch.centreline",
        )
    if shape.ends_in_a_bend:
        say(
            "ends_in_a_bend",
            "The right length ends within a bend, where no cap sits square. Move the bend "
            "towards the mouth, or bend less.",
            "case.branch.centreline",
        )
    if shape.outline.crosses_itself:
        say(
            "crosses_itself",
            "As bent, two stretches of the tube are in each other's way. Change a twist or a "
            "straight.",
            "case.branch.centreline",
        )
    if shape.fits is False:
        box = shape.outline.envelope
        say(
            "does_not_fit",
            f"As bent, the branch takes {box.width / MM:.0f} × {box.depth / MM:.0f} × "
            f"{box.height / MM:.0f} mm (along the main pipe, away, upward) and does not fit the "
            "space given. Fold it, if a way that fits is told; else give it more room, bends of a "
            "smaller radius, or make two shorter branches.",
            "space_mm",
        )
    if shape.pipework.bends and request.case.branch.rise_deg:
        say(
            "rise_of_first_piece",
            "The drawing tilts the first piece by rise_deg and bends from there.",
            "case.branch.rise_deg",
        )
    if math.isnan(shape.saddle):
        say(
            "wider_than_main_pipe",
            "The branch is wider than the main pipe: it cannot be coped onto it. Use a cone or a "
            "thinner branch.",
            "case.branch.outside_diameter_mm",
        )
    return said


def _of_place(place: PlaceAnswer | None) -> list[Caution]:
    if place is None or not place.near_node or place.here is None:
        return []
    better = ""
    if place.better:
        best = place.better[0]
        better = (
            f" {best.place.position_mm:.0f} mm from the open end is better: "
            f"{best.place.band_insertion_loss_dB:.0f} dB over the band."
        )
    return [
        Caution(
            code="near_pressure_node",
            message=f"{place.here.position_mm:.0f} mm from the open end, the tone has a pressure "
            f"node: {place.here.relative_pressure * 100:.0f} % of its greatest pressure. A branch "
            f"there does next to nothing.{better}",
            field="place.position_mm",
        )
    ]


def _of_condensate(
    points: Points, answer: Answer, found: tuple[tuple[Finding, ...], ...], trim: TrimPlan
) -> list[Caution]:
    wet = [
        name
        for name, findings in zip(points.names, found, strict=True)
        if any(finding.code == "condensation" for finding in findings)
    ]
    if not wet:
        return []
    rise = math.degrees(float(answer.case.branch.rise[points.main]))
    slope = (
        "It rises from mouth to cap, so that water drains into the main pipe: keep it so."
        if rise > 0
        else "Let it rise by two degrees or more from mouth to cap, so that water drains into the "
        "main pipe; a branch that falls needs a drain at the cap that does not leak gas."
    )
    shift = -trim.frequency_per_length * MM * WATER_MM
    order = points.order
    moved = f"{shift:.1f} Hz" if order is None else f"{shift * 60 / order:.0f} rpm"
    kind = "tone" if order is None else "engine speed"
    where = "" if wet == [THE_CASE] else f" at {', '.join(wet)}"
    return [
        Caution(
            code="slope_and_drain",
            message=f"Water condenses in this branch{where}. {slope} {WATER_MM:.0f} mm of water on "
            f"the cap raise the quiet {kind} by {moved}.",
            field="case.branch.rise_deg",
        )
    ]


def _cap_seal(points: Points, answer: Answer) -> Caution:
    wall = celsius(answer.profile.wall[:, -1])
    hottest = int(np.argmax(wall))
    with_soak = float(wall[hottest]) + SOAK_K
    name = points.names[hottest]
    where = "" if name == THE_CASE else f" at {name}, the hottest of the operating points given"
    seal = next(
        (f"At the mildest {name}" for limit, name in SEALS if with_soak <= limit),
        "No sealant bears that for long",
    )
    return Caution(
        code="cap_seal",
        message=f"The cap's wall reaches {wall[hottest]:.0f} °C{where}; allow {SOAK_K:.0f} °C more "
        f"for full load and for heat that soaks in after a stop. {seal}; follow its maker's data "
        "sheet. A welded cap needs none.",
        field="",
    )


def _leak(answer: Answer, main: int) -> Caution:
    heat = float(leak_heat(answer)[main])
    lost = float(answer.profile.heat_lost[main])
    return Caution(
        code="leak_heat",
        message=f"A pinhole of {LEAK_DIAMETER / MM:g} mm in the cap, at {OVERPRESSURE / 1e3:g} kPa "
        f"in the main pipe, draws up to {heat:.1f} W of hot gas through the branch, beside the "
        f"{lost:.0f} W that it loses anyway: the tail warms and the tune rises. It also leaks "
        "exhaust.",
        field="",
    )


def _support(answer: Answer, main: int, shape: AsBuilt) -> Caution:
    tube, cap = shape.masses
    mass = tube + cap
    middle = shape.outline.middle
    arm = float(np.hypot(middle[0], middle[1]))
    wall = answer.profile.wall[main]
    warm = float(np.trapezoid(wall, answer.profile.position[main]) / answer.length[main])
    air = float(answer.case.surroundings.air_temperature[main])
    growth = EXPANSION_PER_K * (warm - air) * float(answer.length[main])
    where = (
        "their middle in line with the mouth: nothing bends the weld until it shakes"
        if arm < LEAST_ARM
        else f"their middle {arm / MM:.0f} mm from the mouth: {mass * GRAVITY * arm:.2g} N m on "
        "the weld, before it shakes"
    )
    return Caution(
        code="clearance_and_support",
        message=f"Tube and cap weigh {mass:.2g} kg, {where}. Hang it so that it may "
        f"grow by {growth / MM:.1f} mm, and keep 20 mm or more clear of everything.",
        field="",
    )


def trade_off(own: Case, other: Case, mine: LossBand, theirs: LossBand, reached: bool) -> str:
    """What another tube gains and costs against one's own."""
    if not reached:
        return "No admissible length of this tube has this tone."
    ratio = float(other.branch.outside_diameter[0] / own.branch.outside_diameter[0])
    weight = float(other.branch.wall_area[0] / own.branch.wall_area[0])
    width = float(theirs.width[0, -1] / mine.width[0, -1])
    more = "more" if ratio > 1 else "less"
    if math.isnan(width):
        notch = "a notch that does not reach 10 dB" if ratio < 1 else "a notch that reaches 10 dB"
    else:
        wider = "wider" if width > 1 else "narrower"
        notch = f"a notch {abs(width - 1) * 100:.0f} % {wider} at 10 dB"
    return (
        f"{notch[0].upper()}{notch[1:]}, for {abs(ratio - 1) * 100:.0f} % {more} diameter in the "
        f"space and {abs(weight - 1) * 100:.0f} % {more} weight."
    )


def pair_advice(arrangement: str, single: float, alike: Stagger, apart: Stagger) -> str:
    """Whether two are worth it, and whether to stagger them."""
    gain = apart.least - alike.least
    stagger = abs(float(apart.lengths[0] - apart.lengths[1])) / MM
    where = "on one pipe" if arrangement == "same pipe" else "on two pipes"
    text = (
        f"Over the band, one branch leaves at least {single:.1f} dB of loss everywhere, two of one "
        f"length {where} {alike.least:.1f} dB, staggered by {stagger:.0f} mm {apart.least:.1f} dB. "
    )
    if gain < 0.5:
        return text + "Staggering gains little: make them alike."
    return text + "Stagger them."
