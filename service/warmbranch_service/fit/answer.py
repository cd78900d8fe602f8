"""Answering ``POST /v1/fit``: from the request to the physics, and from what it found to words."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

import numpy as np

from warmbranch import core
from warmbranch.base.batch import FloatArray
from warmbranch.belief.unknown import Spreads
from warmbranch.case import case as physics
from warmbranch.case.engine import Cycle
from warmbranch.fit.haste import HASTY
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.rivals import Rival
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.solve import Fitted, fit
from warmbranch.fit.trim_advice import TrimAdvice
from warmbranch.steady.cautions import findings
from warmbranch.warming.drive import LONGEST
from warmbranch_service.case import calibrations
from warmbranch_service.case.belief import spreads_of
from warmbranch_service.case.convert import MM, Converted, kelvin, to_physics
from warmbranch_service.case.guessed import spread_of
from warmbranch_service.case.sentences import cautions_of
from warmbranch_service.fit import sentences as fit_messages
from warmbranch_service.fit import time_untold
from warmbranch_service.fit.air_as_read import AirAsRead
from warmbranch_service.fit.answer_schema import (
    Candidate,
    Difference,
    FitAnswer,
    FitPrediction,
    FitWork,
    HeardResidual,
    LengthParts,
    NextReading,
    NextStep,
    Parameter,
    Residual,
    RivalName,
    Trim,
)
from warmbranch_service.fit.answer_schema import Rival as RivalTold
from warmbranch_service.fit.as_read import as_read
from warmbranch_service.fit.observed import heard_of, known_warm, readings_of
from warmbranch_service.fit.request import FitRequest, WarmUp
from warmbranch_service.fit.rivals import RIVALS, WITHHELD, first_to_settle
from warmbranch_service.fit.untold_schema import MOST_ODDS, TimeUntold
from warmbranch_service.steady.answer import digits, prediction_of
from warmbranch_service.version import MODEL_VERSION
from warmbranch_service.warmup.drives import assumptions, drive_of, wrap_of


def answer_fit(request: FitRequest) -> FitAnswer:
    """Answer one request.

    Raises
    ------
    Problem, warmbranch.base.errors.WarmbranchError
    """
    converted = to_physics(request.case)
    order = converted.order
    readings, heard = readings_of(request, converted), heard_of(request, converted)
    read = as_read(request, converted)
    spreads, prior = spreads_in(request, converted), converted.calibration
    if converted.shop is not None:
        prior = converted.shop.of(converted.given, spreads)
    found = fit(
        converted.given,
        readings,
        heard,
        spreads=spreads,
        prior=prior,
        warming=warming_of(request, converted),
        warm=known_warm(request),
        as_read=read,
        target=_target(request, order),
        order=order,
        order_step=order_step(request),
    )
    return _Writer(request, converted, read, readings, heard, found).answer()


def order_step(request: FitRequest) -> float:
    """What the orders of an engine are multiples of."""
    engine = request.case.engine
    return 1.0 if engine is not None and Cycle(engine.cycle) is Cycle.TWO_STROKE else 0.5


def spreads_in(request: FitRequest, converted: Converted) -> Spreads:
    """How wide the priors of a fit are."""
    unknowns = request.unknowns
    believed = spreads_of(request.case, converted)
    guessed = spread_of(request.case.guessed, "surroundings.air_temperature_degC")
    said = guessed is None or "air_temperature_spread_K" in unknowns.model_fields_set
    spreads = replace(
        believed,
        air_temperature=(unknowns.air_temperature_spread_K if said else believed.air_temperature),
        fixed=frozenset(unknowns.fixed),
        # Readings see these through the outer film's factor, which stands for them.
        air_speed=0.0,
        radiant_temperature=0.0,
        rise=0.0,
        wrap_conductivity=0.0,
    )
    if "gas_temperature_spread_percent" not in unknowns.model_fields_set:
        return spreads
    told = unknowns.gas_temperature_spread_percent / 100
    return replace(spreads, gas_temperature=told, least_gas_temperature=0.0)


def warming_of(request: FitRequest, converted: Converted) -> Warming:
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


class _Writer:
    """Turns what a fit found into an answer."""

    def __init__(
        self,
        request: FitRequest,
        converted: Converted,
        read: physics.Case | None,
        readings: Readings,
        heard: Heard,
        found: Fitted,
    ) -> None:
        self.request, self.converted, self.found = request, converted, found
        self.air = AirAsRead(request, converted.given, read, readings, found.standing, found.idling)
        self.readings, self.heard = readings, heard
        self.per_hertz = None if converted.order is None else 60 / converted.order
        self.rivals = [self._rival(one) for one in found.rivals]

    def answer(self) -> FitAnswer:
        found, ensemble = self.found, self.found.ensemble
        prediction = self._prediction()
        trim, difference, untold = self._trim(), self._difference(), self._time_untold()
        parameters = [self._parameter(i) for i in range(len(found.parameters))]
        residuals = [self._residual(i) for i in range(len(self.readings))]
        heard = [self._heard(i) for i in range(len(self.heard))]
        advice = self._next()
        return FitAnswer(
            outcome=found.outcome.value,
            summary=fit_messages.summary(
                found.outcome.value,
                self._slip(),
                residuals,
                heard,
                prediction,
                advice,
                trim,
                self.air.sentences(),
            ),
            parameters=parameters,
            residuals=residuals,
            heard=heard,
            prediction=prediction,
            next_reading=advice,
            rivals=self.rivals,
            time_untold=untold,
            read_standing=self.air.answer(),
            read_idling=self.air.idle(),
            trim=trim,
            difference=difference,
            untold=fit_messages.untold(found, parameters, len(residuals), heard),
            calibration=calibrations.to_answer(found.calibration),
            cautions=[
                *self.converted.cautions,
                *fit_messages.cautions(found),
                *time_untold.cautions(untold and untold.message),
                *self.air.cautions(),
                *cautions_of(findings(found.answer)[0]),
            ],
            assumptions=[
                *self.converted.assumptions,
                *self._of_the_warm_up(),
                *self.air.assumptions(),
                *fit_messages.assumed(found, len(self.readings), len(self.heard)),
            ],
            solver=FitWork(
                steps=found.mode.summit.steps,
                draws=ensemble.draws,
                unsolved_draws=ensemble.unsolved,
                effective_draws=round(ensemble.effective, 1),
                laplace_share=round(ensemble.laplace_share, 3),
                widened=ensemble.widened,
                loops=core.name(),
            ),
            model_version=MODEL_VERSION,
        )

    def _of_the_warm_up(self) -> list[str]:
        """What was taken for granted of the warm-up, where readings were taken in one."""
        request = self.request
        if not (np.any(self.readings.timed) or np.any(self.heard.timed)):
            if request.warm_up is None:
                return []
            return ["Nothing carries a time_s, so the warm-up tells only how a branch lags."]
        given = request.warm_up or WarmUp()
        drive = warming_of(request, self.converted).drive
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
            beyond_prior=told.beyond,
            at_bound=told.at_bound,
        )

    def _residual(self, i: int) -> Residual:
        given, timed = self.request.readings[i], bool(self.readings.timed[i])
        expected = float(self.found.expected[i]) - kelvin(0.0)
        suspicions = self.found.suspicions[i]
        return Residual(
            position_mm=round(given.position_mm, 1),
            displayed_degC=round(given.displayed_degC, 2),
            expected_degC=round(expected, 1),
            time_s=None if not timed or given.time_s is None else round(given.time_s, 3),
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

    def _rival(self, rival: Rival) -> RivalTold:
        silent = math.isnan(rival.tone)
        return RivalTold(
            name=cast("RivalName", rival.name),
            sentence=RIVALS[rival.name].sentence,
            odds=digits(min(rival.odds, MOST_ODDS), 2),
            what_to_read=RIVALS[rival.name].what_to_read,
            quiet_rpm=None if silent else self._rpm(rival.tone),
            resonance_Hz=None if silent else round(rival.tone, 2),
        )

    def _time_untold(self) -> TimeUntold | None:
        haste, trim = self.found.haste, self.found.trim
        if haste is None:
            return None
        held_back = 0.0 if trim is None or self._slip() else trim.held_back / MM
        low, chance = round(haste.lag * 100, 1), round(haste.share, 2)
        return TimeUntold(
            question=time_untold.QUESTION,
            early_s=HASTY,
            tone_low_percent=low,
            chance=chance,
            held_back_mm=None if trim is None else float(round(held_back)),
            message=time_untold.message(low, chance, held_back),
        )

    def _trim(self) -> Trim | None:
        trim = self.found.trim
        if trim is None:
            return None
        slip, already = self._slip(), round(trim.already / MM, 1)
        cut_now = already if slip else round(trim.cut_now / MM, 1)
        ahead = None if slip else trim.ahead
        chance = trim.chance_as_it_stands if slip else trim.chance_too_short
        final = round(trim.final_cut / MM, 1)
        interval = (round(trim.final_cut_90[0] / MM, 1), round(trim.final_cut_90[1] / MM, 1))
        return Trim(
            target_rpm=self._rpm(trim.frequency),
            target_Hz=round(trim.frequency, 2),
            cut_now_mm=cut_now,
            final_cut_mm=final,
            final_cut_90_mm=interval,
            chance_too_short=round(chance, 3),
            already_cut_mm=already,
            saw_now_mm=round(cut_now - already, 1),
            withheld_for=slip,
            next_step="leave it" if slip else _next_step(trim),
            message=WITHHELD
            if slip
            else fit_messages.trim(cut_now, already, final, interval, trim.unreachable, ahead)
            + time_untold.to_the_saw(trim.held_back / MM),
            cuts_ahead=None if ahead is None else round(ahead.cuts, 1),
            left_over_mm=None if ahead is None else round(ahead.left_over / MM, 1),
            job_too_short=None if ahead is None else round(ahead.too_short, 3),
        )

    def _slip(self) -> RivalName | None:
        """The slip that is at least as likely as what was written, by its odds as they are told:
        whoever reads the answer decides by those."""
        likely = first_to_settle(self.rivals)
        return None if likely is None else likely.name

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
            learned_mm=_tenth(parts.tone),
            bore_changes_mm=_tenth(parts.bores),
        )
        rule, fitted = float(answer.one_temperature[0]), float(answer.resonance[0, 0])
        return Difference(
            one_temperature_Hz=round(rule, 2),
            one_temperature_rpm=self._rpm(rule),
            fitted_Hz=round(fitted, 2),
            fitted_rpm=self._rpm(fitted),
            contributions=contributions,
            message=fit_messages.difference(rule, self.per_hertz, contributions),
        )

    def _rpm(self, frequency: float) -> float | None:
        return None if self.per_hertz is None else round(frequency * self.per_hertz, 1)


def _next_step(trim: TrimAdvice) -> NextStep:
    if trim.cut_now > trim.already:
        return "cut, then listen"
    return "leave it" if trim.heard or trim.final_cut <= trim.already else "listen"


def _tenth(metres: FloatArray) -> float:
    return round(float(metres[0]) / MM, 1) + 0.0
