"""Answering ``POST /v1/fit``: from the request to the physics, and from what it found to words."""

from __future__ import annotations

import math

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.unknowns import Spreads
from warmbranch.case.engine import Cycle
from warmbranch.case.surfaces import SURFACES
from warmbranch.fit.readings import KNOWN, OWN, Heard, Readings, usual_uncertainty
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.solve import Fitted, fit
from warmbranch.fit.thermometer import share_on_tube
from warmbranch.steady.cautions import findings
from warmbranch.warming.drive import LONGEST
from warmbranch_service import MODEL_VERSION
from warmbranch_service.case import calibrations
from warmbranch_service.case.convert import MM, Converted, kelvin, to_physics
from warmbranch_service.case.main_gas import emissivity_spread
from warmbranch_service.case.messages import cautions_of
from warmbranch_service.case.schema import Case
from warmbranch_service.fit import sentences as fit_messages
from warmbranch_service.fit.answer_schema import (
    Candidate,
    Difference,
    FitAnswer,
    FitPrediction,
    FitWork,
    HeardResidual,
    LengthParts,
    NextReading,
    Parameter,
    Residual,
    Trim,
)
from warmbranch_service.fit.readings import ContactReading, InfraredReading
from warmbranch_service.fit.readings import Heard as HeardGiven
from warmbranch_service.fit.request import FitRequest, WarmUp
from warmbranch_service.steady.answer import digits, prediction_of
from warmbranch_service.warmup.drives import assumptions, drive_of, wrap_of

LISTENING = 0.01
"""Standard deviation of a tone heard, relative, when none is given."""


def answer_fit(request: FitRequest) -> FitAnswer:
    """Answer one request.

    Raises
    ------
    Problem, warmbranch.base.errors.WarmbranchError
    """
    converted = to_physics(request.case)
    order = converted.order
    readings, heard = _readings(request, converted), _heard(request, converted)
    cycle = None if request.case.engine is None else Cycle(request.case.engine.cycle)
    found = fit(
        converted.given,
        readings,
        heard,
        spreads=_spreads(request, converted),
        prior=converted.calibration,
        warming=_warming(request, converted),
        target=_target(request, order),
        order=order,
        order_step=1.0 if cycle is Cycle.TWO_STROKE else 0.5,
    )
    return _Writer(request, converted, readings, heard, found).answer()


def _spreads(request: FitRequest, converted: Converted) -> Spreads:
    branch, unknowns = request.case.branch, request.unknowns
    record = None if branch.surface is None else SURFACES[branch.surface]
    gas = unknowns.gas_temperature_spread_percent / 100
    if (
        converted.inferred is not None
        and "gas_temperature_spread_percent" not in unknowns.model_fields_set
    ):
        gas = converted.inferred.gas.spread
    return Spreads(
        air_temperature=unknowns.air_temperature_spread_K,
        gas_temperature=gas,
        emissivity=emissivity_spread(record),
        fixed=frozenset(unknowns.fixed),
    )


def _warming(request: FitRequest, converted: Converted) -> Warming:
    """The warm-up of readings that carry a time; how long it lasts, those tell."""
    return Warming(
        drive_of(request.warm_up or WarmUp(), converted, LONGEST),
        wrap_of(request.case),
        request.unknowns.start_time_spread_percent / 100,
    )


def _target(request: FitRequest, order: float | None) -> float | None:
    if request.target_rpm is not None:
        assert order is not None, "the schema asks for an engine"
        return request.target_rpm * order / 60
    return request.target_Hz


def _own_emissivity(case: Case) -> float:
    """Longwave emissivity of the branch's own skin."""
    branch = case.branch
    if branch.surface is None:
        assert branch.emissivity is not None, "the schema leaves one of the two"
        return branch.emissivity
    return SURFACES[branch.surface].longwave_emissivity


def _readings(request: FitRequest, converted: Converted) -> Readings:
    if not request.readings:
        return Readings.none()
    case = request.case
    wrap = 0.0 if case.branch.wrap is None else case.branch.wrap.thickness_mm
    diameter = np.array([(case.branch.outside_diameter_mm + 2 * wrap) * MM])
    air = float(converted.given.surroundings.air_temperature[0])
    rows = [_row(reading, case, diameter, air) for reading in request.readings]
    return Readings.concatenate(rows)


def _row(
    reading: InfraredReading | ContactReading, case: Case, diameter: FloatArray, air: float
) -> Readings:
    shown = np.array([kelvin(reading.displayed_degC)])
    given = reading.uncertainty_K
    uncertainty = usual_uncertainty(shown) if given is None else np.array([given])
    one, nothing = np.ones(1), np.full(1, math.nan)
    position = np.array([reading.position_mm * MM])
    time = nothing if reading.time_s is None else np.array([reading.time_s])
    if isinstance(reading, ContactReading):
        return Readings(
            position=position,
            displayed=shown,
            uncertainty=uncertainty,
            infrared=np.zeros(1, dtype=np.bool_),
            surface=(KNOWN,),
            emissivity=one,
            emissivity_spread=0 * one,
            emissivity_set=one,
            reflected=nothing,
            reflected_set=nothing,
            share=one,
            time=time,
        )
    surface, emissivity, spread = _skin(reading, case)
    share = one
    if reading.distance_mm is not None and reading.distance_to_spot is not None:
        share = share_on_tube(
            diameter, np.array([reading.distance_mm * MM]), np.array([reading.distance_to_spot])
        )
    reflected = reading.reflected_degC
    return Readings(
        position=position,
        displayed=shown,
        uncertainty=uncertainty,
        infrared=np.ones(1, dtype=np.bool_),
        surface=(surface,),
        emissivity=emissivity * one,
        emissivity_spread=spread * one,
        emissivity_set=reading.emissivity_set * one,
        reflected=nothing if reflected is None else np.array([kelvin(reflected)]),
        reflected_set=np.array([air]) if reading.takes_off_reflection else nothing,
        share=share,
        time=time,
    )


def _skin(reading: InfraredReading, case: Case) -> tuple[str, float, float]:
    """Name of the surface that a reading looks at, its emissivity and the spread of a patch's."""
    if reading.emissivity is not None:
        return KNOWN, reading.emissivity, 0.0
    if reading.surface is None or reading.surface == case.branch.surface:
        return OWN, _own_emissivity(case), 0.0
    record = SURFACES[reading.surface]
    return reading.surface, record.longwave_emissivity, emissivity_spread(record)


def _heard(request: FitRequest, converted: Converted) -> Heard:
    own = float(converted.given.branch.length[0])
    parts = [_tone(heard, converted.order, own) for heard in request.heard]
    return Heard.concatenate(parts) if parts else Heard.none()


def _tone(heard: HeardGiven, order: float | None, own: float) -> Heard:
    if heard.quiet_rpm is not None:
        assert order is not None, "the schema asks for an engine"
        per_unit, tone, given = order / 60, heard.quiet_rpm, heard.uncertainty_rpm
    else:
        assert heard.frequency_Hz is not None, "the schema asks for one of the two"
        per_unit, tone, given = 1.0, heard.frequency_Hz, heard.uncertainty_Hz
    uncertainty = LISTENING * tone if given is None else given
    length = own if heard.centreline_length_mm is None else heard.centreline_length_mm * MM
    return Heard(
        frequency=np.array([tone * per_unit]),
        uncertainty=np.array([uncertainty * per_unit]),
        length=np.array([length]),
    )


class _Writer:
    """Turns what a fit found into an answer."""

    def __init__(
        self,
        request: FitRequest,
        converted: Converted,
        readings: Readings,
        heard: Heard,
        found: Fitted,
    ) -> None:
        self.request, self.converted, self.found = request, converted, found
        self.readings, self.heard = readings, heard
        self.per_hertz = None if converted.order is None else 60 / converted.order

    def answer(self) -> FitAnswer:
        found, ensemble = self.found, self.found.ensemble
        prediction = self._prediction()
        trim, difference = self._trim(), self._difference()
        parameters = [self._parameter(i) for i in range(len(found.parameters))]
        residuals = [self._residual(i) for i in range(len(self.readings))]
        heard = [self._heard(i) for i in range(len(self.heard))]
        advice = self._next()
        return FitAnswer(
            outcome=found.outcome.value,
            summary=fit_messages.summary(
                found.outcome.value, residuals, heard, prediction, advice, trim
            ),
            parameters=parameters,
            residuals=residuals,
            heard=heard,
            prediction=prediction,
            next_reading=advice,
            trim=trim,
            difference=difference,
            untold=fit_messages.untold(found, parameters, len(residuals), heard),
            calibration=calibrations.to_answer(found.calibration),
            cautions=[
                *self.converted.cautions,
                *fit_messages.cautions(found),
                *cautions_of(findings(found.answer)[0]),
            ],
            assumptions=[*self.converted.assumptions, *self._of_the_warm_up()],
            solver=FitWork(
                steps=found.mode.summit.steps,
                draws=ensemble.draws,
                unsolved_draws=ensemble.unsolved,
                effective_draws=round(ensemble.effective, 1),
                laplace_share=round(ensemble.laplace_share, 3),
                widened=ensemble.widened,
            ),
            model_version=MODEL_VERSION,
        )

    def _of_the_warm_up(self) -> list[str]:
        """What was taken for granted of the warm-up, where readings were taken in one."""
        request = self.request
        if not np.any(self.readings.timed):
            if request.warm_up is None:
                return []
            return ["No reading carries a time_s, so the warm-up is not used."]
        given = request.warm_up or WarmUp()
        drive = _warming(request, self.converted).drive
        return assumptions(given, drive, request.case, self.converted)

    def _parameter(self, index: int) -> Parameter:
        told = self.found.parameters[index]
        warm = told.unit == "K"

        def shown(value: float) -> float:
            return digits(value - kelvin(0.0) if warm else value, 4)

        return Parameter(
            name=told.name,
            unit="degC" if warm else told.unit,
            prior_90=(shown(told.prior_90[0]), shown(told.prior_90[1])),
            estimate=shown(told.estimate),
            interval_90=(shown(told.interval_90[0]), shown(told.interval_90[1])),
            learned_share=round(told.learned_share, 2),
            at_bound=told.at_bound,
        )

    def _residual(self, i: int) -> Residual:
        given = self.request.readings[i]
        expected = float(self.found.expected[i]) - kelvin(0.0)
        suspicions = self.found.suspicions[i]
        return Residual(
            position_mm=round(given.position_mm, 1),
            displayed_degC=round(given.displayed_degC, 2),
            expected_degC=round(expected, 1),
            time_s=None if given.time_s is None else round(given.time_s, 3),
            residual_K=round(given.displayed_degC - expected, 1) + 0.0,  # no minus zero
            uncertainty_K=digits(self.readings.uncertainty[i], 3),
            suspect=bool(suspicions),
            reasons=fit_messages.reasons(suspicions),
        )

    def _heard(self, i: int) -> HeardResidual:
        tone, expected = float(self.heard.frequency[i]), float(self.found.heard_expected[i])
        silent = math.isnan(expected)
        suspicion = self.found.heard_suspicions[i]
        return HeardResidual(
            centreline_length_mm=round(float(self.heard.length[i]) / MM, 1),
            frequency_Hz=round(tone, 2),
            expected_Hz=None if silent else round(expected, 2),
            quiet_rpm=self._rpm(tone),
            expected_rpm=None if silent else self._rpm(expected),
            suspect=suspicion is not None,
            reasons=[]
            if suspicion is None
            else [fit_messages.tone_reason(suspicion, self.per_hertz)],
        )

    def _prediction(self) -> FitPrediction:
        order = self.converted.order
        after, before = (prediction_of(f, order) for f in (self.found.after, self.found.before))
        return FitPrediction(
            quiet_rpm=after.quiet_rpm,
            resonance_Hz=after.resonance_Hz,
            before_fit=before,
            learned_share=round(self.found.learned_share, 2),
        )

    def _next(self) -> NextReading:
        advice = self.found.advice
        places = [
            Candidate(
                position_mm=round(float(position) / MM, 1),
                variance_removed_share=round(float(share), 3),
            )
            for position, share in zip(advice.position, advice.by_reading, strict=True)
        ]
        best = places[advice.best]
        listening = round(advice.by_listening, 3)
        return NextReading(
            listen=advice.listen,
            position_mm=None if advice.listen else best.position_mm,
            variance_removed_share=listening if advice.listen else best.variance_removed_share,
            listening_share=listening,
            best_position=best,
            candidates=places,
        )

    def _trim(self) -> Trim | None:
        trim = self.found.trim
        if trim is None:
            return None
        cut_now = math.floor(trim.cut_now / MM * 10) / 10
        final = round(trim.final_cut / MM, 1)
        interval = (round(trim.final_cut_90[0] / MM, 1), round(trim.final_cut_90[1] / MM, 1))
        return Trim(
            target_rpm=self._rpm(trim.frequency),
            target_Hz=round(trim.frequency, 2),
            cut_now_mm=cut_now,
            final_cut_mm=final,
            final_cut_90_mm=interval,
            chance_too_short=round(trim.chance_too_short, 3),
            message=fit_messages.trim(cut_now, final, interval, trim.unreachable),
        )

    def _difference(self) -> Difference | None:
        parts, answer = self.found.effects, self.found.answer
        if parts is None:
            return None
        contributions = LengthParts(
            gas_composition_mm=_tenth(parts.gas_composition),
            cold_tail_mm=_tenth(parts.cold_tail),
            mouth_correction_mm=_tenth(parts.mouth_correction),
            wall_losses_mm=_tenth(parts.wall_losses),
            bends_mm=_tenth(parts.bends),
        )
        rule, fitted = float(answer.one_temperature[0]), float(answer.resonance[0, 0])
        return Difference(
            one_temperature_Hz=round(rule, 2),
            one_temperature_rpm=self._rpm(rule),
            fitted_Hz=round(fitted, 2),
            fitted_rpm=self._rpm(fitted),
            contributions=contributions,
            message=fit_messages.difference(rule, fitted, self.per_hertz, contributions),
        )

    def _rpm(self, frequency: float) -> float | None:
        return None if self.per_hertz is None else round(frequency * self.per_hertz, 1)


def _tenth(metres: FloatArray) -> float:
    return round(float(metres[0]) / MM, 1) + 0.0
