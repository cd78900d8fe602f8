"""From the physics to an answer: all conversion of units on the way out, and rounding.

Numbers are rounded to what they can mean, never to hide anything: temperatures to 0.01 °C,
lengths to 0.01 mm, frequencies to 0.001 Hz, heat to five digits. The schema says so field by field.
"""

from __future__ import annotations

import math

import numpy as np

from warmbranch import core
from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.belief.depth import Depth, depth
from warmbranch.belief.prediction import Predicted, expect, predict
from warmbranch.steady.answer import Answer
from warmbranch.steady.cautions import findings
from warmbranch.steady.solve import solve
from warmbranch_service.case.belief import believed, spreads_of
from warmbranch_service.case.convert import MM, Converted, celsius, to_physics
from warmbranch_service.case.convert_batch import PER_HOUR
from warmbranch_service.case.sentences import cautions_of
from warmbranch_service.contract.rounding import digits as digits
from warmbranch_service.contract.rounding import each, finite, places
from warmbranch_service.steady.answer_schema import (
    DeepestLoss,
    Estimates,
    Heat,
    Levels,
    MainPipeAnswer,
    Prediction,
    Profile,
    ProfileBands,
    Resonance,
    Solver,
    SteadyAnswer,
    SteadyPrediction,
    TransmissionLoss,
)
from warmbranch_service.steady.depth import decibels, in_words, usual, wall_alone
from warmbranch_service.steady.narrowing import narrowing
from warmbranch_service.steady.request import (
    DEFAULT_POINTS,
    DEFAULT_SPAN,
    Attenuation,
    RpmRange,
    SteadyRequest,
)
from warmbranch_service.steady.water import condensed
from warmbranch_service.version import MODEL_VERSION

BAND_NODES = 4
"""One node in so many of the profile gets intervals; bands are smooth."""


def steady(request: SteadyRequest) -> SteadyAnswer:
    """Answer one request.

    Raises
    ------
    Problem, warmbranch.base.errors.WarmbranchError
    """
    converted = to_physics(request.case)
    return answer_of(request, converted, solve(converted.case))


def answer_of(request: SteadyRequest, converted: Converted, answer: Answer) -> SteadyAnswer:
    """Write down what the physics found."""
    profile = answer.profile
    resonance = _resonance(converted, answer)
    estimates = Estimates(
        transit_time_Hz=places(answer.transit_time[0], 3),
        one_temperature_Hz=places(answer.one_temperature[0], 3),
    )
    prediction = _prediction(request, converted, profile.position[0])
    deepest = _deepest(depth(answer, spreads_of(request.case, converted)))
    return SteadyAnswer(
        outcome="no resonance" if resonance.frequency_Hz[0] is None else "resonance found",
        summary=summary(resonance, estimates, answer, prediction, deepest),
        profile=Profile(
            position_mm=each(profile.position[0] / MM, 2),
            gas_degC=each(celsius(profile.gas[0]), 2),
            wall_degC=each(celsius(profile.wall[0]), 2),
            skin_degC=each(celsius(profile.skin[0]), 2),
            sound_speed_m_s=each(answer.sound_speed[0], 2),
        ),
        resonance=resonance,
        estimates=estimates,
        effective_temperature_degC=celsius_or_none(answer.effective_temperature[0], 2),
        mouth_correction_mm=places(answer.mouth_correction[0] / MM, 2),
        centreline_length_mm=places(answer.length[0] / MM, 2),
        dew_point_degC=celsius_or_none(answer.dew_point[0], 1),
        main_pipe=_main_pipe(converted, answer),
        heat=Heat(
            entering_W=digits(profile.heat_entering[0], 5),
            lost_W=digits(profile.heat_lost[0], 5),
            closure_error=digits(profile.closure_error[0], 2),
        ),
        condensate=condensed(answer),
        prediction=prediction,
        attenuation=_attenuation(request.attenuation, converted.order, answer, deepest),
        cautions=[*converted.cautions, *cautions_of(findings(answer)[0])],
        assumptions=converted.assumptions,
        solver=Solver(
            iterations=int(profile.iterations[0]),
            nodes=profile.position.shape[1],
            loops=core.name(),
        ),
        model_version=MODEL_VERSION,
    )


def _main_pipe(converted: Converted, answer: Answer) -> MainPipeAnswer:
    inferred = converted.inferred
    low_high = None if inferred is None else inferred.interval_90_degC
    return MainPipeAnswer(
        mass_flow_kg_h=digits(converted.case.main_pipe.mass_flow[0] / PER_HOUR, 5),
        gas_speed_m_s=digits(answer.main_speed[0], 4),
        gas_temperature_degC=places(celsius(converted.case.main_pipe.gas_temperature)[0], 2),
        gas_temperature_from="given" if inferred is None else inferred.source,
        gas_temperature_90_degC=(
            None if low_high is None else (places(low_high[0], 1), places(low_high[1], 1))
        ),
    )


def _resonance(converted: Converted, answer: Answer) -> Resonance:
    order, first = converted.order, answer.resonance[0, 0]
    return Resonance(
        frequency_Hz=[finite(frequency, 3) for frequency in answer.resonance[0]],
        engine_order=order,
        quiet_rpm=None if order is None else finite(60 * first / order, 1),
        quality_factor=(
            digits(answer.quality_factor[0], 4) if np.isfinite(answer.quality_factor[0]) else None
        ),
    )


def _prediction(
    request: SteadyRequest, converted: Converted, position: FloatArray
) -> SteadyPrediction | None:
    """Intervals from a calibration, or from what is believed without one or by a shop."""
    if not request.interval:
        return None
    if converted.calibration is None or converted.shop is not None:
        expected = expect(converted.given, believed(request.case, converted))
        of_sound = prediction_of(expected.resonance, converted.order)
        return SteadyPrediction(
            quiet_rpm=of_sound.quiet_rpm,
            resonance_Hz=of_sound.resonance_Hz,
            profile=None,
            narrowed_by=narrowing(expected, request.case),
        )
    position = position[::BAND_NODES]
    found = predict(converted.given, converted.calibration, position)
    of_sound = prediction_of(found.resonance, converted.order)
    return SteadyPrediction(
        quiet_rpm=of_sound.quiet_rpm,
        resonance_Hz=of_sound.resonance_Hz,
        profile=_profile_bands(position, found) if len(found.gas) else None,
        narrowed_by=[],
    )


def _profile_bands(position: FloatArray, found: Predicted) -> ProfileBands:
    def pairs(levels: FloatArray, low: int, high: int) -> list[tuple[float, float]]:
        ends = celsius(levels[[low, high]])
        return list(zip(each(ends[0], 1), each(ends[1], 1), strict=True))

    return ProfileBands(
        position_mm=each(position / MM, 2),
        gas_interval_50_degC=pairs(found.gas, 1, 3),
        gas_interval_90_degC=pairs(found.gas, 0, 4),
        skin_interval_50_degC=pairs(found.skin, 1, 3),
        skin_interval_90_degC=pairs(found.skin, 0, 4),
    )


def prediction_of(frequency: FloatArray, order: float | None) -> Prediction:
    """Levels of the first resonance, Hz, as they leave; empty where there is none."""
    if len(frequency) == 0:
        return Prediction(quiet_rpm=None, resonance_Hz=None)
    return Prediction(
        quiet_rpm=None if order is None else _levels(frequency * 60 / order, 1),
        resonance_Hz=_levels(frequency, 2),
    )


def _levels(values: FloatArray, count: int) -> Levels:
    low, lower, middle, upper, high = (places(value, count) for value in values)
    return Levels(median=middle, interval_50=(lower, upper), interval_90=(low, high))


def _deepest(found: Depth) -> DeepestLoss | None:
    if math.isnan(float(found.usual[0])):
        return None
    return DeepestLoss(
        transmission_loss_dB=usual(found),
        interval_90_dB=decibels(found),
        wall_alone_dB=wall_alone(found),
    )


def _attenuation(
    wanted: Attenuation | None, order: float | None, answer: Answer, deepest: DeepestLoss | None
) -> TransmissionLoss:
    per_rpm = 1.0 if order is None else order / 60
    if isinstance(wanted, RpmRange):
        frequency = np.linspace(wanted.rpm_from, wanted.rpm_to, wanted.points) * per_rpm
    elif wanted is not None:
        low, high = wanted.frequency_from_Hz, wanted.frequency_to_Hz
        frequency = np.linspace(low, high, wanted.points)
    else:
        middle = answer.resonance[0, 0]
        # Where losses leave no resonance, the transit-time estimate still tells where to look.
        middle = middle if np.isfinite(middle) else answer.transit_time[0]
        frequency = middle * np.linspace(1 - DEFAULT_SPAN, 1 + DEFAULT_SPAN, DEFAULT_POINTS)
    loss = answer.transmission_loss(frequency[None, :])[0]
    return TransmissionLoss(
        rpm=None if order is None else each(frequency / per_rpm, 1),
        frequency_Hz=each(frequency, 3),
        transmission_loss_dB=[value if math.isfinite(value) else None for value in each(loss, 3)],
        deepest=deepest,
    )


def summary(
    resonance: Resonance,
    estimates: Estimates,
    answer: Answer,
    prediction: SteadyPrediction | None,
    deepest: DeepestLoss | None,
) -> str:
    """The answer in plain words."""
    first = resonance.frequency_Hz[0]
    gas = celsius(answer.profile.gas[0])
    hot = celsius(answer.case.main_pipe.gas_temperature)[0]
    cooling = (
        f"The gas is at {hot:.0f} °C in the main pipe, {gas[0]:.0f} °C just inside the mouth and "
        f"{gas[-1]:.0f} °C at the cap."
    )
    if first is None:
        return f"Losses at the wall leave this branch without a resonance. {cooling}"
    if resonance.quiet_rpm is None:
        best = f"The branch cancels best at {first:.1f} Hz"
        levels, fall = prediction and prediction.resonance_Hz, 1
    else:
        best = (
            f"The branch cancels best at {resonance.quiet_rpm:.0f} rpm ({first:.1f} Hz, engine "
            f"order {resonance.engine_order:g})"
        )
        levels, fall = prediction and prediction.quiet_rpm, 0
    if levels:
        low, high = levels.interval_90
        best += f", 90 % between {low:.{fall}f} and {high:.{fall}f}"
    if deepest is not None and deepest.transmission_loss_dB is not None:
        held = in_words(deepest.transmission_loss_dB, deepest.interval_90_dB)
        best += f". At its best it holds back {held}"
    one = estimates.one_temperature_Hz / first - 1
    transit = estimates.transit_time_Hz / first - 1
    return (
        f"{best}. {cooling} One gas temperature all along would put it {_off(one)}, the sum of "
        f"local travel times {_off(transit)}."
    )


def _off(relative: float) -> str:
    return f"{abs(relative) * 100:.1f} % too {'high' if relative > 0 else 'low'}"


def celsius_or_none(kelvin: float, count: int) -> float | None:
    """The temperature in °C, or None where there is none."""
    return finite(kelvin - ICE_POINT, count)
