"""What the branch does to the sound: notch, stock tubes, loudness, place, two branches."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from warmbranch.belief.depth import depth
from warmbranch.case.geometry import Branch, Tube
from warmbranch.length.bandwidth import LEVELS, LossBand
from warmbranch.length.compromise import Aim, Compromise, left_over
from warmbranch.length.cut_list import tube_mass
from warmbranch.length.family import family
from warmbranch.length.length_for_tone import ToneOutcome, bounds
from warmbranch.length.pair import (
    Arrangement,
    SamePipe,
    Stagger,
    TwoPipes,
    best_stagger,
    one_branch,
    same_tune,
)
from warmbranch.length.solve import Choice
from warmbranch.sound.placement import PipePlace, better_places, nodes, positions, sweep, tones
from warmbranch.sound.tail import FarEnd, MainRun
from warmbranch.steady.answer import Answer
from warmbranch_service.case.belief import spreads_of
from warmbranch_service.case.convert import MM, Converted, kelvin
from warmbranch_service.contract.rounding import digits, each, finite, places
from warmbranch_service.length.answer_schema import LoudnessAnswer
from warmbranch_service.length.parts import (
    BetterPlaceAnswer,
    DiameterChoice,
    NotchAnswer,
    NotchWidth,
    PairAnswer,
    PairChoice,
    Place,
    PlaceAnswer,
)
from warmbranch_service.length.points import Points, band_out_of_reach
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.length.sentences import pair_advice, trade_off
from warmbranch_service.steady.depth import decibels

SPAN = 0.25
"""Half width of the range of transmission loss reported, over the resonance."""

LOSS_POINTS = 41
BAND_POINTS = 41

PAIR_BAND = 0.10
"""Half width, relative, of the band for two branches where none is given."""

PAIR_NARROWEST = 0.98
"""Shortest to longest length of a family; a narrower one could not be told from one length."""

PAIR_LENGTHS = 7
"""Lengths solved for two branches; the range spans some 30 %."""


def diameter_choices(
    request: LengthRequest, converted: Converted, tubes: Sequence[Choice], per_hz: float | None
) -> list[DiameterChoice]:
    """The choices of tube as they leave, the given one first; none where it stands alone."""
    if len(tubes) < 2:
        return []
    own, spreads = tubes[0].notch, spreads_of(request.case, converted)
    choices: list[DiameterChoice] = []
    for tube in tubes:
        here = tube.notch
        reached = tube.sized.outcome[0] == ToneOutcome.FOUND
        branch, metal = tube.sized.answer.case.branch, tube.sized.answer.case.metal
        length = float(tube.sized.length[0])
        choices.append(
            DiameterChoice(
                name=_name(request, tube),
                outside_diameter_mm=places(branch.outside_diameter[0] / MM, 2),
                centreline_length_mm=places(length / MM, 1) if reached else None,
                widths=_widths(here, per_hz),
                peak_dB=finite(here.peak[0], 2),
                tube_mass_kg=digits(_mass(branch, length, float(metal.density[0])), 3),
                trade_off="The tube as given."
                if tube.tube is None
                else trade_off(
                    tubes[0].sized.answer.case, tube.sized.answer.case, own, here, reached
                ),
                peak_90_dB=decibels(depth(tube.sized.answer, spreads)),
            )
        )
    return choices


def _mass(branch: Branch, length: float, density: float) -> float:
    """Of the tube at a length, kg."""
    own = Tube(float(branch.outside_diameter[0]), float(branch.wall_thickness[0]))
    pieces = branch.with_length(np.array([length])).pieces[0]
    return sum(
        tube_mass(piece.length, (piece.tube or own).wall_section, density) for piece in pieces
    )


def _name(request: LengthRequest, choice: Choice) -> str:
    if choice.tube is not None:
        return choice.tube.name
    return f"as given, {request.case.branch.outside_diameter_mm:g} mm"


def notch_answer(
    request: LengthRequest, converted: Converted, tube: Choice, per_hz: float | None
) -> NotchAnswer:
    """Transmission loss and its widths, of one tube."""
    found = tube.notch
    answer = tube.sized.answer
    first = answer.resonance[0, 0]
    middle = first if np.isfinite(first) else answer.transit_time[0]
    frequency = middle * np.linspace(1 - SPAN, 1 + SPAN, LOSS_POINTS)
    loss = answer.transmission_loss(frequency[None])[0]
    return NotchAnswer(
        widths=_widths(found, per_hz),
        peak_dB=finite(found.peak[0], 2),
        rpm=None if per_hz is None else each(frequency * per_hz, 1),
        frequency_Hz=each(frequency, 3),
        transmission_loss_dB=[finite(value, 3) for value in loss],
        peak_90_dB=decibels(depth(answer, spreads_of(request.case, converted))),
    )


def _widths(found: LossBand, per_hz: float | None) -> list[NotchWidth]:
    def rpm(value: float) -> float | None:
        return None if per_hz is None else finite(value * per_hz, 1)

    return [
        NotchWidth(
            transmission_loss_dB=level,
            width_rpm=rpm(found.width[0, i]),
            width_Hz=finite(found.width[0, i], 2),
            from_rpm=rpm(found.low[0, i]),
            to_rpm=rpm(found.high[0, i]),
        )
        for i, level in enumerate(LEVELS)
    ]


def loudness_answer(points: Points, found: Compromise | None) -> LoudnessAnswer | None:
    """The curve before and after; None where the target is no curve."""
    if points.tone is not None or found is None or points.order is None:
        return None
    counts = points.weight > 0
    rpm = points.tones.frequency[0] * 60 / points.order
    after = found.after[counts].max(axis=0)
    levels = {
        (when, aim): float(left_over(level, points.weight, points.tones.share, aim))
        for when, level in (("before", found.before), ("after", found.after))
        for aim in Aim
    }
    return LoudnessAnswer(
        aim="loudest" if points.aim is Aim.LOUDEST else "weighted mean",
        loudest_before_dB=places(levels["before", Aim.LOUDEST], 2),
        loudest_after_dB=places(levels["after", Aim.LOUDEST], 2),
        loudest_after_rpm=places(rpm[int(np.argmax(after))], 1),
        mean_before_dB=places(levels["before", Aim.MEAN], 2),
        mean_after_dB=places(levels["after", Aim.MEAN], 2),
        rpm=each(rpm, 1),
        before_dB=each(found.before[0], 2),
        after_dB=each(after, 2),
    )


def place_answer(request: LengthRequest, answer: Answer, tone: float) -> PlaceAnswer | None:
    """Where on the main pipe; None where not asked."""
    given = request.place
    if given is None:
        return None
    case = answer.case
    hot = float(case.main_pipe.gas_temperature[0])
    end = given.open_end_gas_temperature_degC
    length = given.pipe_length_mm * MM
    position = None if given.position_mm is None else given.position_mm * MM
    run = MainRun(
        length=length,
        bore=float(case.main_pipe.bore[0]),
        gas=case.gas,
        pressure=float(case.surroundings.pressure[0]),
        main_temperature=hot,
        end_temperature=hot if end is None else kelvin(end),
        tail=position if position else length,
        air_temperature=float(case.surroundings.air_temperature[0]),
        far_end=FarEnd(given.far_end),
    )
    low, high = (side * MM for side in given.free_mm)
    also = np.array([low, high, *([] if position is None else [position])])
    band = tones(tone)
    branch = answer.impedance(band[None])[0]
    found = sweep(run, branch, band, positions(run, tone, also))
    here = None if position is None else found.at(position)
    return PlaceAnswer(
        here=None if here is None else _place(here),
        near_node=None if here is None else here.near_node,
        nodes_mm=each(nodes(found) / MM, 1),
        better=[
            BetterPlaceAnswer(
                place=_place(better.place),
                from_mm=places(better.low / MM, 1),
                to_mm=places(better.high / MM, 1),
            )
            for better in better_places(found, low, high)
        ],
        position_mm=each(found.position / MM, 1),
        insertion_loss_dB=each(found.tone, 2),
        band_insertion_loss_dB=each(found.band, 2),
    )


def _place(place: PipePlace) -> Place:
    return Place(
        position_mm=places(place.position / MM, 1),
        insertion_loss_dB=places(place.tone, 2),
        band_insertion_loss_dB=places(place.band, 2),
        relative_pressure=places(place.pressure, 3),
    )


def pair_answer(
    request: LengthRequest, converted: Converted, answer: Answer, tone: float
) -> PairAnswer | None:
    """Two branches; None where not asked."""
    given = request.two_branches
    if given is None:
        return None
    case, order = answer.case, converted.order
    low, high = _pair_band(request, order, tone)
    band = np.linspace(low, high, BAND_POINTS)
    length = float(answer.length[0])
    # A quarter wave goes about as its length; some room beyond the band to either side.
    shortest, longest = (float(side[0]) for side in bounds(case))
    least = max(length * tone / high * 0.92, shortest)
    most = min(length * tone / low * 1.08, longest)
    if least >= longest or most * PAIR_NARROWEST <= shortest:
        by_rpm = given.band_from_Hz is None
        raise band_out_of_reach(case, (low, high), by_rpm=by_rpm, order=order)
    known = family(case, min(least, most * PAIR_NARROWEST), most, band[None], count=PAIR_LENGTHS)
    main = float(answer.main_impedance[0])
    same_pipe = given.arrangement == "same pipe"
    arrangement: Arrangement = (
        SamePipe(given.spacing_mm * MM, float(answer.main_sound_speed[0]), main)
        if same_pipe
        else TwoPipes(main)
    )
    alike, apart = same_tune(known, arrangement, band), best_stagger(known, arrangement, band)
    single = one_branch(known, arrangement, band)
    return PairAnswer(
        rpm=None if order is None else each(band * 60 / order, 1),
        frequency_Hz=each(band, 3),
        one_branch_least_loss_dB=places(single, 2),
        same_length=_pair_choice(alike),
        staggered=_pair_choice(apart),
        stagger_mm=places(abs(apart.lengths[0] - apart.lengths[1]) / MM, 1),
        advice=pair_advice(given.arrangement, single, alike, apart),
    )


def _pair_band(request: LengthRequest, order: float | None, tone: float) -> tuple[float, float]:
    given = request.two_branches
    assert given is not None
    if given.band_from_Hz is not None and given.band_to_Hz is not None:
        return given.band_from_Hz, given.band_to_Hz
    if given.band_from_rpm is not None and given.band_to_rpm is not None and order is not None:
        return given.band_from_rpm * order / 60, given.band_to_rpm * order / 60
    return tone * (1 - PAIR_BAND), tone * (1 + PAIR_BAND)


def _pair_choice(found: Stagger) -> PairChoice:
    first, second = (places(length / MM, 1) for length in found.lengths)
    return PairChoice(
        length_mm=(first, second),
        least_loss_dB=places(found.least, 2),
        loss_dB=each(found.loss, 2),
    )
