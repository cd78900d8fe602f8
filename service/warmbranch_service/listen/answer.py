"""From recordings and a request to what is heard."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from warmbranch.base import stopping, tally
from warmbranch.base.batch import RealArray
from warmbranch.base.errors import InputError
from warmbranch.case.engine import Cycle
from warmbranch.listen.layout import Layout, engine_layout
from warmbranch.listen.loudness import Loudness, change, drone, loudness
from warmbranch.listen.notch import ExpectedNotch, Notch
from warmbranch.listen.shapes import TransmissionLoss
from warmbranch.listen.solve import HeardRecording, cells_of, hear, notch_of
from warmbranch.listen.weighting import a_weighting
from warmbranch.steady.solve import solve
from warmbranch_service.case.convert import engine_order, to_physics
from warmbranch_service.contract.errors import INVALID, Entry, Problem
from warmbranch_service.contract.rounding import each, places
from warmbranch_service.listen.anchors import anchors_of
from warmbranch_service.listen.answer_schema import (
    ChangeAnswer,
    CurvePoint,
    DroneAnswer,
    GainAnswer,
    HeardAnswer,
    ListenAnswer,
    ListenOutcome,
    LossHeard,
    LoudnessCurve,
    NotchHeard,
    OrderCurve,
    RecordingAnswer,
    RivalSpeed,
    Side,
    Track,
)
from warmbranch_service.listen.recordings import Recording
from warmbranch_service.listen.request import ListenRequest
from warmbranch_service.listen.sentences import assumptions, cautions, summary
from warmbranch_service.steady.answer_schema import Levels
from warmbranch_service.version import MODEL_VERSION

PRIOR_SPREAD = 0.04
"""Standard deviation of the logarithm of a case's resonance; our judgement."""

LEAST_HEARD_SPREAD = 0.005
"""Of a quiet rpm, as a share: what repeats of a pull differ by; our judgement."""

HEARING = 0.7
"""Share of the work that is following the engine, of two recordings of half a minute; measured."""

OF_RECORDINGS = ("samples", "sample_rate")
"""What the physics refuses that is one recording's fault, which is then named."""

RPM = 60.0
SIDES: tuple[Side, Side] = ("before", "after")


@dataclass(frozen=True)
class _Known:
    """What a case says of the branch."""

    loss: TransmissionLoss
    resonance: float


def answer_listen(
    request: ListenRequest, before: Sequence[Recording], after: Sequence[Recording]
) -> ListenAnswer:
    """Answer one request.

    Parameters
    ----------
    request : ListenRequest
    before, after : sequence of Recording
        One of them may be empty.

    Raises
    ------
    Problem, warmbranch.base.errors.WarmbranchError
    """
    if not before and not after:
        detail, remedy = "No recording is sent.", "Send one in the part after or before."
        entry = Entry(("after",), "no_recording", detail, remedy)
        raise Problem(INVALID, entry.sentence(), entries=[entry])
    engine = request.the_engine
    order = engine_order(engine)
    angles = engine.firing_angles_deg
    layout = engine_layout(
        engine.cylinders,
        Cycle(engine.cycle),
        None if angles is None else np.radians(np.array(angles)),
        order,
    )
    heard: dict[Side, list[HeardRecording]] = {"before": [], "after": []}
    for side, recordings in zip(SIDES, (before, after), strict=True):
        for place, recording in enumerate(recordings):
            heard[side].append(_heard(recording, request, layout, (side, place)))
            done = len(heard["before"]) + len(heard["after"])
            tally.reached(HEARING * done / (len(before) + len(after)))
    curves: dict[Side, Loudness | None] = {
        side: _loudness(found, layout) for side, found in heard.items()
    }
    known = _known(request)
    notch = None
    if any(np.any(one.held) for one in heard["after"]):
        stopping.check()
        use = known is not None and request.prior == "case"
        notch = notch_of(
            [one for one in heard["before"] if np.any(one.held)],
            [one for one in heard["after"] if np.any(one.held)],
            layout,
            same_place=request.same_place is True,
            gain_known=request.pilot_tone_Hz is not None,
            loss=known.loss if use and known is not None else None,
            prior=ExpectedNotch(known.resonance, PRIOR_SPREAD)
            if use and known is not None
            else None,
        )
    return _told(request, layout, order, heard, curves, known, notch, (before, after))


def _heard(
    recording: Recording, request: ListenRequest, layout: Layout, name: tuple[Side, int]
) -> HeardRecording:
    stopping.check()
    side = name[0]
    anchors = anchors_of(request, side, len(recording.samples) / recording.sample_rate_Hz)
    try:
        return hear(
            recording.samples,
            recording.sample_rate_Hz,
            layout,
            request.lowest_rpm / RPM,
            request.highest_rpm / RPM,
            highest_rate=request.highest_rate_percent_s / 100,
            anchors=anchors,
            pilot=request.pilot_tone_Hz,
        )
    except InputError as error:
        if error.field not in OF_RECORDINGS:
            raise
        entry = Entry(
            name, "refused_by_physics", error.message, error.remedy, error.value, error.unit
        )
        raise Problem(INVALID, entry.sentence(), entries=[entry]) from None


def _loudness(heard: Sequence[HeardRecording], layout: Layout) -> Loudness | None:
    found = [one for one in heard if np.any(one.held)]
    if not found:
        return None
    return loudness(
        [one.levels for one in found],
        [one.track.log_speed for one in found],
        [one.held for one in found],
        layout.orders,
        [one.gain for one in found],
    )


def _known(request: ListenRequest) -> _Known | None:
    if request.case is None:
        return None
    answer = solve(to_physics(request.case).case)
    resonance = float(answer.resonance[0, 0])
    if not math.isfinite(resonance):
        return None

    grid = resonance * np.linspace(0.02, 40, 8000)
    values: RealArray = answer.transmission_loss(grid[None, :])[0]

    def loss(frequency: RealArray) -> RealArray:
        # Solved once on a fine grid; the likelihood asks for a million frequencies.
        return np.interp(frequency, grid, values)

    return _Known(loss, resonance)


def _told(
    request: ListenRequest,
    layout: Layout,
    order: float,
    heard: dict[Side, list[HeardRecording]],
    curves: dict[Side, Loudness | None],
    known: _Known | None,
    notch: Notch | None,
    given: tuple[Sequence[Recording], Sequence[Recording]],
) -> ListenAnswer:
    recordings = [
        _recording(one, layout, side, source, request.pilot_tone_Hz is not None)
        for side, sources in zip(SIDES, given, strict=True)
        for one, source in zip(heard[side], sources, strict=True)
    ]
    loud = curves["before"] or curves["after"]
    found = drone(loud) if loud is not None else None
    outcome: ListenOutcome
    if not any(np.any(one.held) for side in SIDES for one in heard[side]):
        outcome = "engine not heard"
    elif not heard["after"]:
        outcome = "before only"
    else:
        outcome = "notch heard" if notch is not None and notch.heard else "no notch heard"
    told = _notch(notch, order, known)
    entries: list[HeardAnswer] = []
    if told is not None and told.quiet_rpm is not None:
        low, high = told.quiet_rpm.interval_90
        middle = told.quiet_rpm.median
        spread = max((high - low) / 3.29, LEAST_HEARD_SPREAD * middle)
        minutes = request.minutes_since_start
        entries = [
            HeardAnswer(
                quiet_rpm=places(middle, 1),
                uncertainty_rpm=max(places(spread, 1), 0.1),
                time_s=None if minutes is None else places(60 * minutes, 0),
            )
        ]
    drone_told = (
        None
        if found is None
        else DroneAnswer(
            rpm=places(found.revolutions_per_second * RPM, 0),
            interval_50=_pair(np.array(found.interval_50) * RPM, 0),
            interval_90=_pair(np.array(found.interval_90) * RPM, 0),
            at_edge=found.at_edge,
        )
    )
    return ListenAnswer(
        outcome=outcome,
        summary=summary(outcome, told, drone_told, recordings),
        engine_order=order,
        recordings=recordings,
        loudness=[
            LoudnessCurve(
                side=side,
                rpm=each(curve.revolutions_per_second * RPM, 0),
                frequency_Hz=each(curve.revolutions_per_second * order, 1),
                level_dB=each(curve.level, 1),
                level_dBA=each(curve.level_a, 1),
            )
            for side, curve in curves.items()
            if curve is not None
        ],
        loudness_target=_target(loud),
        drone=drone_told,
        notch=told,
        heard=entries,
        cabin_resonances_Hz=_cabin(notch) if heard["before"] and heard["after"] else [],
        change=_change(curves["before"], curves["after"]),
        minutes_since_start=request.minutes_since_start,
        gas_temperature_degC=_gas(request),
        cautions=cautions(request, recordings, drone_told, told),
        assumptions=assumptions(request, known is not None),
        model_version=MODEL_VERSION,
    )


def _gas(request: ListenRequest) -> float | None:
    known = request.gas_temperature_degC
    if known is None and request.case is not None:
        known = request.case.main_pipe.gas_temperature_degC
    return None if known is None else places(known, 1)


def _pair(values: RealArray, count: int) -> tuple[float, float]:
    return places(values[0], count), places(values[1], count)


def _gain(heard: HeardRecording) -> GainAnswer:
    mean = heard.gain.mean[heard.held]
    low, high = (heard.gain.quantile(level) for level in (0.05, 0.95))
    return GainAnswer(
        chance=places(1 - heard.gain.steady, 2),
        share_90=(places(low, 2), places(high, 2)),
        taken_off_dB=places(float(np.ptp(mean)), 1),
    )


def _recording(
    heard: HeardRecording, layout: Layout, side: Side, source: Recording, pilot: bool
) -> RecordingAnswer:
    track = heard.track
    speed = np.exp(track.log_speed) * RPM
    rivals = sorted(track.rivals, key=lambda rival: rival.odds)
    return RecordingAnswer(
        side=side,
        duration_s=places(heard.seconds, 1),
        clipped_share=places(source.clipped_share, 4),
        sure_share=places(float(np.mean(heard.held)), 3),
        automatic_gain=None if pilot or not np.any(heard.held) else _gain(heard),
        track=Track(
            time_s=each(track.time, 2),
            rpm=[
                places(value, 1) if held else None
                for value, held in zip(speed, heard.held, strict=True)
            ],
            uncertainty_rpm=[
                places(value, 1) if held else None
                for value, held in zip(speed * heard.deviation, heard.held, strict=True)
            ],
            audible=each(track.heard, 3),
        ),
        rivals=[
            RivalSpeed(ratio=places(rival.ratio, 3), log10_odds=places(rival.odds / np.log(10), 1))
            for rival in rivals
        ],
        orders=_orders(heard, layout),
    )


def _orders(heard: HeardRecording, layout: Layout) -> list[OrderCurve]:
    if not np.any(heard.held):
        return []
    cells = cells_of(heard, layout)
    curves: list[OrderCurve] = []
    for index, order in enumerate(layout.orders):
        inside = cells.order == index
        if np.count_nonzero(inside) < 3:
            continue
        frequency = np.exp(cells.log_frequency[inside])
        level = cells.level[inside]
        curves.append(
            OrderCurve(
                order=places(float(order), 2),
                rpm=each(np.exp(cells.log_speed[inside]) * RPM, 0),
                frequency_Hz=each(frequency, 1),
                level_dB=each(level, 1),
                level_dBA=each(level + a_weighting(frequency), 1),
            )
        )
    return curves


def _notch(notch: Notch | None, order: float, known: _Known | None) -> NotchHeard | None:
    if notch is None:
        return None
    resonance = rpm = None
    if notch.heard:
        shares = (0.05, 0.25, 0.5, 0.75, 0.95)
        levels = np.array([notch.quantile(share) for share in shares])
        resonance, rpm = _spread(levels), _spread(levels * RPM / order)
    return NotchHeard(
        log10_odds=places(notch.log_odds / np.log(10), 2),
        resonance_Hz=resonance,
        quiet_rpm=rpm,
        searched_Hz=_pair(np.array(notch.searched), 1),
        depth_dB=places(notch.depth, 1) if notch.heard else None,
        predicted_Hz=None if known is None else places(known.resonance, 2),
        loss=LossHeard(
            frequency_Hz=each(notch.loss.frequency, 1),
            measured_dB=each(notch.loss.level, 1),
            uncertainty_dB=each(notch.loss.deviation, 1),
            predicted_dB=None if known is None else each(known.loss(notch.loss.frequency), 1),
        ),
    )


def _spread(levels: RealArray) -> Levels:
    return Levels(
        median=places(levels[2], 2),
        interval_50=_pair(levels[[1, 3]], 2),
        interval_90=_pair(levels[[0, 4]], 2),
    )


def _target(curve: Loudness | None) -> list[CurvePoint]:
    """Every speed of the curve; none where it is too short for POST /v1/length."""
    if curve is None or len(curve.level) < 3:
        return []
    return [
        CurvePoint(rpm=places(speed * RPM, 0), level_dB=places(level, 1))
        for speed, level in zip(curve.revolutions_per_second, curve.level_a, strict=True)
    ]


def _change(before: Loudness | None, after: Loudness | None) -> ChangeAnswer | None:
    if before is None or after is None:
        return None
    speed, plain, weighted = change(before, after)
    return ChangeAnswer(
        rpm=each(speed * RPM, 0), change_dB=each(plain, 1), change_dBA=each(weighted, 1)
    )


def _cabin(notch: Notch | None) -> list[float]:
    """Peaks of what before and after have in common, 3 dB or more above their surroundings."""
    if notch is None:
        return []
    from scipy.signal import find_peaks

    peaks, _ = find_peaks(notch.common, prominence=3.0)
    return each(notch.common_frequency[peaks], 0)
