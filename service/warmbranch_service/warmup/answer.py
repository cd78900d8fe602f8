"""From a warm-up's request to its answer."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from warmbranch import core
from warmbranch.base.batch import FloatArray
from warmbranch.base.interpolation import interpolated
from warmbranch.belief.calibration import Calibration
from warmbranch.steady.answer import Answer
from warmbranch.steady.cautions import findings
from warmbranch.steady.solve import solve
from warmbranch.warming.bands import resonance_bands
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import WarmUp, warm_up
from warmbranch.warming.wander import (
    Wander,
    length_per_frequency,
    steady_at_plateaus,
    wander,
    warm_case,
)
from warmbranch_service.case.convert import MM, Converted, celsius, to_physics
from warmbranch_service.case.sentences import cautions_of
from warmbranch_service.contract.rounding import digits, each, finite, places
from warmbranch_service.steady.answer import celsius_or_none
from warmbranch_service.version import MODEL_VERSION
from warmbranch_service.warmup.answer_schema import (
    Bands,
    Condensation,
    Drift,
    Driven,
    Plateau,
    Series,
    Settled,
    Steps,
    StoredHeat,
    WarmupAnswer,
)
from warmbranch_service.warmup.conditions import conditions_map
from warmbranch_service.warmup.drives import assumptions, drive_of, wrap_of
from warmbranch_service.warmup.request import DEFAULT_TIMES, WarmupRequest

BAND_TIMES = 25
"""Most times at which intervals are told."""


@dataclass(frozen=True)
class _Run:
    """One request on its way."""

    request: WarmupRequest
    converted: Converted
    drive: Drive
    warmup: WarmUp
    sound: Wander
    warm: Answer
    told: NDArray[np.intp]

    @property
    def order(self) -> float | None:
        """Engine order."""
        return self.converted.order

    def rpm(self, frequency: float) -> float | None:
        """Quiet rpm of a resonance; None without an engine or a resonance."""
        if self.order is None or not math.isfinite(frequency):
            return None
        return places(60 * frequency / self.order, 1)


def warmup(request: WarmupRequest) -> WarmupAnswer:
    """Answer one request.

    Raises
    ------
    Problem, warmbranch.base.errors.WarmbranchError
    """
    converted = to_physics(request.case)
    drive = drive_of(request, converted, request.duration_s)
    even = np.linspace(0.0, drive.duration, DEFAULT_TIMES)
    told = np.array(request.output_times_s) if request.output_times_s else even
    times = np.unique(np.concatenate([even, told]))
    case = converted.case
    found = warm_up(case, drive, times, wrap=wrap_of(request.case))
    warm = solve(warm_case(case, drive))
    first = float(warm.resonance[0, 0])
    driven = request.driven_frequency_Hz or first
    if request.driven_rpm is not None:
        assert converted.order is not None, "the schema asks for an engine"
        driven = request.driven_rpm * converted.order / 60
    # Where losses leave no resonance, the transit-time estimate still tells where to look.
    driven = driven if math.isfinite(driven) else float(warm.transit_time[0])
    sound = wander(found, np.array([driven]))
    run = _Run(request, converted, drive, found, sound, warm, np.searchsorted(times, told))
    return _answer(run)


def _answer(run: _Run) -> WarmupAnswer:
    request, sound, warm, found = run.request, run.sound, run.warm, run.warmup
    length = float(run.converted.case.branch.length[0])
    positions = (
        np.array([0.1, 0.5, 1.0]) * length
        if request.positions_mm is None
        else np.minimum(np.array(request.positions_mm) * MM, length)
    )
    first = warm.resonance[:, 0]
    cold, hot = float(sound.frequency[0, 0]), float(first[0])
    settled = Settled(
        within_1_percent_s=finite(sound.time_within(first, 0.01)[0], 1),
        within_0_3_percent_s=finite(sound.time_within(first, 0.003)[0], 1),
    )
    per_hertz = float(length_per_frequency(warm.case)[0])
    warm_loss = float(warm.transmission_loss(sound.driven[:, None])[0, 0])
    cold_rpm, warm_rpm = run.rpm(cold), run.rpm(hot)
    series = _series(run, positions)
    return WarmupAnswer(
        summary=_summary(run, cold, hot, settled, warm_loss),
        positions_mm=each(positions / MM, 2),
        series=series,
        settled=settled,
        cold_quiet_rpm=cold_rpm,
        warm_quiet_rpm=warm_rpm,
        cold_resonance_Hz=finite(cold, 3),
        warm_resonance_Hz=finite(hot, 3),
        drift=Drift(
            resonance_Hz=finite(cold - hot, 3),
            quiet_rpm=run.rpm(cold - hot),
            length_equivalent_mm=finite((cold - hot) * per_hertz / MM, 1),
        ),
        driven=Driven(
            frequency_Hz=places(sound.driven[0], 3),
            rpm=run.rpm(float(sound.driven[0])),
            warm_loss_dB=finite(warm_loss, 2),
            most_lost_to_cold_dB=finite(warm_loss - float(sound.loss.min()), 2),
        ),
        condensation=Condensation(
            dew_point_degC=celsius_or_none(float(sound.dew_point[0]), 1),
            dry_from_s=finite(sound.dry_from()[0], 3),
        ),
        plateaus=_plateaus(run),
        bands=_bands(run),
        conditions=(
            None
            if request.conditions is None
            else conditions_map(
                request.case, request.conditions, run.converted, float(sound.driven[0])
            )
        ),
        heat=StoredHeat(
            entered_kJ=digits(found.heat_entered[0] / 1e3, 5),
            lost_kJ=digits(found.heat_lost[0] / 1e3, 5),
            stored_kJ=digits(found.heat_stored[0] / 1e3, 5),
            imbalance=digits(found.imbalance[0], 2),
        ),
        cautions=[*run.converted.cautions, *cautions_of(findings(warm)[0])],
        assumptions=[
            *run.converted.assumptions,
            *assumptions(request, run.drive, request.case, run.converted),
        ],
        solver=Steps(
            steps=int(found.steps[0]),
            rejected=int(found.rejected[0]),
            iterations=int(found.iterations[0]),
            nodes=found.position.shape[1],
            loops=core.name(),
        ),
        model_version=MODEL_VERSION,
    )


def _series(run: _Run, positions: FloatArray) -> Series:
    found, sound, told = run.warmup, run.sound, run.told
    x = np.repeat(found.position, len(told), axis=0)

    def at_positions(values: FloatArray) -> list[list[float]]:
        return [each(row, 2) for row in celsius(interpolated(x, values[0, told], positions))]

    frequency = sound.frequency[0, told]
    return Series(
        time_s=each(found.time[told], 3),
        resonance_Hz=[finite(f, 3) for f in frequency],
        quiet_rpm=None if run.order is None else [run.rpm(float(f)) for f in frequency],
        transmission_loss_dB=[finite(loss, 2) for loss in sound.loss[0, told]],
        mouth_gas_degC=each(celsius(sound.mouth_gas[0, told]), 2),
        skin_degC=at_positions(found.skin),
        gas_degC=at_positions(found.gas),
        condensation=sound.wet[0, told].tolist(),
    )


def _plateaus(run: _Run) -> list[Plateau]:
    rests, answer = steady_at_plateaus(run.converted.case, run.drive)
    if answer is None:
        return []
    return [
        Plateau(
            from_s=places(begin, 3),
            to_s=places(end, 3),
            resonance_Hz=finite(first, 3),
            quiet_rpm=run.rpm(float(first)),
        )
        for (begin, end), first in zip(rests, answer.resonance[:, 0], strict=True)
    ]


def _bands(run: _Run) -> Bands | None:
    calibration: Calibration | None = run.converted.calibration
    if calibration is None or not run.request.intervals:
        return None
    pick = np.unique(np.linspace(0, len(run.told) - 1, BAND_TIMES).astype(np.intp))
    times = run.warmup.time[run.told[pick]]
    levels = resonance_bands(
        run.converted.given,
        calibration,
        run.drive,
        times,
        run.sound.driven,
        wrap_of(run.request.case),
    )
    if levels is None:
        return None

    def pairs(low: int, high: int, per: float, count: int) -> list[tuple[float, float]]:
        return [(places(row[low] * per, count), places(row[high] * per, count)) for row in levels]

    per_rpm = None if run.order is None else 60 / run.order
    return Bands(
        time_s=each(times, 3),
        resonance_interval_50_Hz=pairs(1, 3, 1.0, 2),
        resonance_interval_90_Hz=pairs(0, 4, 1.0, 2),
        quiet_rpm_interval_50=None if per_rpm is None else pairs(1, 3, per_rpm, 1),
        quiet_rpm_interval_90=None if per_rpm is None else pairs(0, 4, per_rpm, 1),
    )


def _summary(run: _Run, cold: float, hot: float, settled: Settled, warm_loss: float) -> str:
    if not (math.isfinite(cold) and math.isfinite(hot)):
        return "Losses at the wall leave this branch without a resonance, cold or warm."
    rpm = run.rpm(cold), run.rpm(hot)
    if rpm[0] is None or rpm[1] is None:
        begins = f"The branch begins at {cold:.1f} Hz and is at {hot:.1f} Hz warm"
    else:
        begins = (
            f"The quiet rpm begins at {rpm[0]:.0f} and is {rpm[1]:.0f} warm "
            f"({cold:.1f} and {hot:.1f} Hz)"
        )
    short = warm_loss - float(run.sound.loss.min())
    time = settled.within_1_percent_s
    if time is None:
        when = "It is not within 1 % of warm by the end."
    elif time == 0:
        when = "It is within 1 % of warm throughout."
    else:
        when = f"It is within 1 % of warm from {time / 60:.1f} min on."
    return (
        f"{begins}, {(cold / hot - 1) * 100:+.1f} %. {when} At the driven tone, "
        f"{run.sound.driven[0]:.1f} Hz, up to {max(short, 0.0):.1f} dB of {warm_loss:.1f} dB are "
        "missing meanwhile."
    )
