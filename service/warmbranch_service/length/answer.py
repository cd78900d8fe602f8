"""Answering ``POST /v1/length``: from the request to the physics, from what it found to JSON."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknowns import Spreads
from warmbranch.case.case import Case
from warmbranch.length import solve as sizing
from warmbranch.length.build_long import DRAWS, RightLengths, Trim, trim_steps, uncertain_lengths
from warmbranch.length.compromise import Compromise, best_length
from warmbranch.length.effects import effects, transit_time_length
from warmbranch.length.solve import Outcome, Sized, length_for, one_temperature_length
from warmbranch.steady.answer import Answer
from warmbranch_service import MODEL_VERSION
from warmbranch_service.case.convert import MM, Converted, celsius
from warmbranch_service.contract.rounding import finite, places
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
from warmbranch_service.length.points import Points, out_of_reach, points_of, reach_of
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.length.sentences import length_cautions, summary
from warmbranch_service.length.shape import Shape
from warmbranch_service.length.sound import (
    Tube,
    diameter_choices,
    known_tubes,
    loudness_answer,
    notch_answer,
    pair_answer,
    place_answer,
    stock_tubes,
)
from warmbranch_service.steady.answer import digits


@dataclass(frozen=True)
class Found:
    """The right length and what hangs on it.

    Parameters
    ----------
    points : Points
    sized : Sized
        At the operating point that counts most, one design.
    answer : Answer
        At the right length, one design an operating point.
    compromise : Compromise or None
        None where one tone at one point was met exactly.
    tubes : list of Tube
        The tube as given and its stock neighbours, each with its right length.
    """

    points: Points
    sized: Sized
    answer: Answer
    compromise: Compromise | None
    tubes: list[Tube]

    @property
    def length(self) -> float:
        """m."""
        return float(self.sized.length[0])

    @property
    def tone(self) -> float:
        """First resonance at the operating point that counts most, Hz."""
        return float(self.sized.frequency[0])

    @property
    def converted(self) -> Converted:
        """The operating point that counts most."""
        return self.points.converted[self.points.main]


@dataclass(frozen=True)
class Built:
    """The length to build, m, and how sure it is."""

    right: RightLengths
    build: float
    allowance: float
    trim: Trim


def answer_length(request: LengthRequest) -> LengthAnswer:
    """Answer one request.

    Raises
    ------
    Problem, warmbranch.base.errors.WarmbranchError
    """
    points = points_of(request)
    found = _one_tone(request, points) if points.is_one_tone else _compromise(request, points)
    built = _built(request, found)
    shape = Shape.of(request, found.sized, built.build)
    per_hz = None if points.order is None else 60 / points.order
    main = found.answer.take(slice(points.main, points.main + 1))
    hot = main.case.main_pipe.gas_temperature
    slope = built.trim.frequency_per_length * MM
    low, high = built.right.interval(0.9)
    place = place_answer(request, main, found.tone)
    outline = shape.outline_answer()
    return LengthAnswer(
        form=FORM,
        outcome=_outcome(found),
        summary=summary(request, points, found.sized, found.compromise, built.build),
        target=_target(points),
        centreline_length_mm=places(found.length / MM, 4),
        build_length_mm=places(built.build / MM, 1),
        allowance_mm=places(built.allowance / MM, 2),
        chance_too_short=places(built.right.chance_too_short(built.build - built.allowance), 3),
        right_length_90_mm=(places(low / MM, 1), places(_within(high) / MM, 1)),
        certainty="prior" if found.converted.calibration is None else "calibration",
        rpm_per_mm=None if per_hz is None else digits(slope * per_hz, 4),
        Hz_per_mm=digits(slope, 4),
        trim_steps=_trim_steps(built.trim, per_hz),
        contributions_mm=_contributions(found),
        one_temperature_length_mm=places(
            one_temperature_length(found.sized.frequency, hot)[0] / MM, 2
        ),
        transit_time_length_mm=places(
            transit_time_length(found.sized.answer, found.sized.frequency)[0] / MM, 2
        ),
        operating_points=_operating_points(found, per_hz),
        loudness=loudness_answer(points, found.compromise),
        notch=notch_answer(found.tubes[0], per_hz),
        diameters=diameter_choices(found.tubes, per_hz),
        cut_list=shape.cut_list(),
        outline=outline,
        folds=shape.folds(),
        place=place,
        two_branches=pair_answer(request, found.converted, main, found.tone),
        cautions=length_cautions(
            request, points, found.answer, built.build, shape, place, built.trim
        ),
        assumptions=[*found.converted.assumptions, *points.said, *_assumptions(request, points)],
        work=LengthWork(
            searches=int(found.sized.solves[0])
            if found.compromise is None
            else found.compromise.designs,
            draws=DRAWS,
        ),
        model_version=MODEL_VERSION,
    )


def _one_tone(request: LengthRequest, points: Points) -> Found:
    """One tone at one point: the length meets it, and the neighbouring tubes' with it."""
    assert points.tone is not None
    case = points.case
    tubes = [Tube.given(request, case), *stock_tubes(request, case)]
    batch = case if len(tubes) == 1 else Case.concatenate([tube.case for tube in tubes])
    sized = length_for(batch, np.full(len(batch), points.tone[0]))
    own = sized.take(slice(0, 1))
    if own.outcome[0] != Outcome.FOUND:
        raise out_of_reach(request, points.order, reach_of(case))
    return Found(points, own, own.answer, None, known_tubes(tubes, sized))


def _compromise(request: LengthRequest, points: Points) -> Found:
    """The length that leaves the least over all points and tones."""
    best = best_length(points.case, points.tones, points.weight, points.aim)
    answer = best.answer.take(slice(points.main, points.main + 1))
    tone = answer.resonance[:, 0]
    if np.isnan(tone[0]):
        raise out_of_reach(request, points.order, (math.nan, math.nan), points.main)
    sized = Sized(
        frequency=tone,
        length=np.array([best.length]),
        slope=sizing.frozen_slope(answer, tone),
        outcome=np.array([float(Outcome.FOUND)]),
        solves=np.array([float(best.designs)]),
        answer=answer,
    )
    tubes = known_tubes([Tube.given(request, answer.case)], sized)
    others = stock_tubes(request, answer.case)
    if others:
        batch = Case.concatenate([tube.case for tube in others])
        tubes += known_tubes(others, length_for(batch, np.full(len(batch), tone[0])))
    return Found(points, sized, best.answer, best, tubes)


def _built(request: LengthRequest, found: Found) -> Built:
    given, converted = request.build, found.converted
    case = converted.given
    if converted.calibration is None:
        named = request.case.branch.surface is not None
        spreads = Spreads() if named else Spreads(emissivity=0.0)
        if converted.inferred is not None:
            spreads = replace(spreads, gas_temperature=converted.inferred.gas.spread)
        believed = Calibration.prior(case, spreads)
    else:
        believed = converted.calibration
    right = uncertain_lengths(found.sized, case, believed)
    allowance = (given.weld_allowance_mm + given.cap_allowance_mm) * MM
    wanted = max(_within(right.build(given.chance_too_short_percent / 100)), found.length)
    # Up to a tenth of a millimetre, so that what is printed is no shorter than what was meant.
    build = math.ceil((wanted + allowance) / (0.1 * MM) - 1e-6) * 0.1 * MM
    return Built(right, build, allowance, trim_steps(found.sized, build, given.trim_step_mm * MM))


def _within(length: float) -> float:
    """Members that no admissible length serves are told as the longest one; a caution says so."""
    return min(length, sizing.LONGEST)


def _outcome(found: Found) -> schema.Outcome:
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


def _trim_steps(trim: Trim, per_hz: float | None) -> list[TrimStep]:
    return [
        TrimStep(
            cut_mm=places(cut / MM, 2),
            length_mm=places(length / MM, 2),
            quiet_rpm=None if per_hz is None else places(frequency * per_hz, 1),
            frequency_Hz=places(frequency, 3),
        )
        for cut, length, frequency in zip(trim.cut, trim.length, trim.frequency, strict=True)
    ]


def _contributions(found: Found) -> LengthContributions:
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
    )


def _operating_points(found: Found, per_hz: float | None) -> list[PointAnswer]:
    points, answer = found.points, found.answer
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
