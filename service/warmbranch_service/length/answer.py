"""Answering ``POST /v1/length``: from the request to the physics, from what it found to JSON."""

from __future__ import annotations

from functools import partial

from warmbranch import core
from warmbranch.base.errors import OutOfReachError
from warmbranch.belief.parabolas import DRAWS
from warmbranch.length.build_long import TrimPlan
from warmbranch.length.effects import effects, transit_time_length
from warmbranch.length.length_for_tone import LONGEST, one_temperature_length
from warmbranch.length.solve import Building, Lengths, solve
from warmbranch_service.case.belief import believed
from warmbranch_service.case.convert import MM, celsius
from warmbranch_service.case.taught import place_of
from warmbranch_service.contract.rounding import digits, finite, places
from warmbranch_service.length import answer_schema as schema
from warmbranch_service.length.answer_schema import (
    FORM,
    LengthAnswer,
    LengthContributions,
    LengthWork,
    PointAnswer,
    TargetAnswer,
    TrimStep,
)
from warmbranch_service.length.as_built import AsBuilt
from warmbranch_service.length.points import Points, out_of_reach, points_of
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.length.sentences import length_cautions, summary
from warmbranch_service.length.sound import (
    diameter_choices,
    loudness_answer,
    notch_answer,
    pair_answer,
    place_answer,
)
from warmbranch_service.version import MODEL_VERSION


def answer_length(request: LengthRequest) -> LengthAnswer:
    """Answer one request.

    Raises
    ------
    Problem, warmbranch.base.errors.WarmbranchError
    """
    allowance = (request.build.weld_allowance_mm + request.build.cap_allowance_mm) * MM
    points, found = _found(request, allowance)
    converted = points.converted[points.main]
    shape = AsBuilt.of(request, found.sized, found.build)
    per_hz = None if points.order is None else 60 / points.order
    main = found.answer.take(slice(points.main, points.main + 1))
    hot = main.case.main_pipe.gas_temperature
    slope = found.trim.frequency_per_length * MM
    low, high = found.right.interval(0.9)
    place = place_answer(request, main, found.tone)
    outline = shape.outline_answer()
    return LengthAnswer(
        form=FORM,
        outcome=_outcome(found),
        summary=summary(request, points, found.sized, found.compromise, found.build),
        target=_target(points),
        centreline_length_mm=places(found.length / MM, 4),
        build_length_mm=places(found.build / MM, 1),
        allowance_mm=places(allowance / MM, 2),
        chance_too_short=places(found.right.chance_too_short(found.build - allowance), 3),
        right_length_90_mm=(places(low / MM, 1), places(_within(high) / MM, 1)),
        certainty="prior" if converted.calibration is None else "calibration",
        rpm_per_mm=None if per_hz is None else digits(slope * per_hz, 4),
        Hz_per_mm=digits(slope, 4),
        trim_steps=_trim_steps(found.trim, per_hz),
        contributions_mm=_contributions(found),
        one_temperature_length_mm=places(
            one_temperature_length(found.sized.frequency, hot)[0] / MM, 2
        ),
        transit_time_length_mm=places(
            transit_time_length(found.sized.answer, found.sized.frequency)[0] / MM, 2
        ),
        operating_points=_operating_points(points, found, per_hz),
        loudness=loudness_answer(points, found.compromise),
        notch=notch_answer(request, converted, found.choices[0], per_hz),
        diameters=diameter_choices(request, converted, found.choices, per_hz),
        cut_list=shape.cut_list(),
        outline=outline,
        folds=shape.folds(),
        place=place,
        two_branches=pair_answer(request, converted, main, found.tone),
        cautions=length_cautions(
            request, points, found.answer, found.build, shape, place, found.trim
        ),
        assumptions=[*converted.assumptions, *points.said, *_assumptions(request, points)],
        work=LengthWork(
            searches=int(found.sized.solves[0])
            if found.compromise is None
            else found.compromise.designs,
            draws=DRAWS,
            loops=core.name(),
        ),
        model_version=MODEL_VERSION,
    )


def _found(request: LengthRequest, allowance: float) -> tuple[Points, Lengths]:
    """The length, and how sure it is; a shop is believed as far as that length is like its jobs."""
    asked: float | None = None
    while True:
        points = points_of(request, asked)
        converted = points.converted[points.main]
        try:
            found = solve(
                points.case,
                points.wanted,
                given=converted.given,
                believed=partial(believed, request.case, converted),
                building=Building(
                    request.build.chance_too_short_percent / 100,
                    allowance,
                    request.build.trim_step_mm * MM,
                ),
                stock=request.diameters,
            )
        except OutOfReachError as error:
            raise out_of_reach(request, points.order, error.reach, error.point) from None
        shop, given = converted.shop, converted.given
        if shop is None or asked is not None:
            return points, found
        # Once: the length hangs on what is believed by some per cent, and that on the length's
        # logarithm.
        begun, ended = (shop.distrust(given, place_of(given, x)) for x in (None, found.length))
        if begun == ended:
            return points, found
        asked = found.length


def _within(length: float) -> float:
    """Members that no admissible length serves are told as the longest one; a caution says so."""
    return min(length, LONGEST)


def _outcome(found: Lengths) -> schema.LengthOutcome:
    if found.compromise is None:
        return "length found"
    return "compromise at the end of the range" if found.compromise.at_bound else "compromise found"


def _target(points: Points) -> TargetAnswer:
    order = points.order
    tone = None if points.tone is None else float(points.tone[points.main])
    return TargetAnswer(
        engine_order=order,
        quiet_rpm=None if tone is None or order is None else places(tone * 60 / order, 1),
        frequency_Hz=None if tone is None else places(tone, 3),
    )


def _trim_steps(trim: TrimPlan, per_hz: float | None) -> list[TrimStep]:
    return [
        TrimStep(
            cut_mm=places(cut / MM, 2),
            length_mm=places(length / MM, 2),
            quiet_rpm=None if per_hz is None else places(frequency * per_hz, 1),
            frequency_Hz=places(frequency, 3),
        )
        for cut, length, frequency in zip(trim.cut, trim.length, trim.frequency, strict=True)
    ]


def _contributions(found: Lengths) -> LengthContributions:
    answer, tone = found.sized.answer, found.sized.frequency
    rule = one_temperature_length(tone, answer.case.main_pipe.gas_temperature)
    told = effects(answer, tone)
    return LengthContributions(
        one_temperature_rule_mm=places(rule[0] / MM, 2),
        gas_composition_mm=places(told.gas_composition[0] / MM, 2),
        cold_tail_mm=places(told.cold_tail[0] / MM, 2),
        mouth_correction_mm=places(told.mouth_correction[0] / MM, 2),
        wall_losses_mm=places(told.wall_losses[0] / MM, 2),
        bends_mm=places(told.bends[0] / MM, 2),
        learned_mm=places(told.tone[0] / MM, 2),
        bore_changes_mm=places(told.bores[0] / MM, 2),
    )


def _operating_points(points: Points, found: Lengths, per_hz: float | None) -> list[PointAnswer]:
    answer = found.answer
    if found.compromise is None:
        left = -answer.transmission_loss(found.sized.frequency[:, None])
    else:
        left = found.compromise.after
    return [
        PointAnswer(
            name=name,
            weight=float(points.weight[i]),
            quiet_rpm=None if per_hz is None else finite(answer.resonance[i, 0] * per_hz, 1),
            frequency_Hz=finite(answer.resonance[i, 0], 3),
            loudest_left_dB=finite(float(left[i].max()), 2),
            cap_wall_degC=places(celsius(answer.profile.wall[:, -1])[i], 1),
        )
        for i, name in enumerate(points.names)
    ]


def _assumptions(request: LengthRequest, points: Points) -> list[str]:
    said = [
        f"The length to build leaves room for welds and cap: {request.build.weld_allowance_mm:g} "
        f"and {request.build.cap_allowance_mm:g} mm.",
        "The length is changed at the cap; bends and straights nearer the mouth stay as given.",
    ]
    if len(points.names) > 1:
        said.append(
            f"Length to build, trim steps, effects, notch, place and cut list are worked out at "
            f"{points.names[points.main]}, which counts most."
        )
    return said
