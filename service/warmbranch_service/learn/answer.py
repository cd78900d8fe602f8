"""Answering ``POST /v1/learn``: each job fitted, all learned from together, told in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from warmbranch.base import tally
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.base.stopping import check
from warmbranch.belief.draws import NORMAL_90
from warmbranch.belief.shop import USUAL
from warmbranch.learn.solve import HeldOut as HeldOutFound
from warmbranch.learn.solve import Instrument, Learned, SharedUnknown, learn
from warmbranch.learn.summary import NAMES, MeasuredBranch, summary_of
from warmbranch_service.case import calibrations
from warmbranch_service.case.calibration import Calibration
from warmbranch_service.case.convert import to_physics
from warmbranch_service.case.shop import FORM, KeptJob, LearnedOn, Shop
from warmbranch_service.contract.errors import INVALID, NOT_CONVERGED, Entry, Problem
from warmbranch_service.contract.refusals import entry_of_physics
from warmbranch_service.contract.rounding import digits, places
from warmbranch_service.fit.answer import order_step, spreads_in, warming_of
from warmbranch_service.fit.as_read import as_read
from warmbranch_service.fit.observed import heard_of, known_warm, readings_of
from warmbranch_service.fit.sentences import NAMES as MEANINGS
from warmbranch_service.learn import kept as keeping
from warmbranch_service.learn import sentences
from warmbranch_service.learn.answer_schema import FORM as ANSWER_FORM
from warmbranch_service.learn.answer_schema import (
    HeldOut,
    HonestySoFar,
    LearnAnswer,
    LearnedJob,
    LearnedThermometer,
    LearnedUnknown,
    LearnWork,
    Pair,
)
from warmbranch_service.learn.request import FinishedJob, LearnRequest
from warmbranch_service.steady.answer import prediction_of
from warmbranch_service.version import MODEL_VERSION

FITTED = 0.9
"""Share of the work done once all jobs are fitted; measured."""


def answer_learn(request: LearnRequest) -> LearnAnswer:
    """Answer one request.

    Raises
    ------
    Problem, warmbranch.base.errors.WarmbranchError
    """
    earlier = None if request.earlier is None else request.earlier.shop
    before: list[KeptJob] = [] if earlier is None else _in_order(earlier)
    new: list[KeptJob] = []
    for place, job in enumerate(request.jobs):
        check()
        new.append(_fitted(job, place))
        tally.reached(FITTED * (place + 1) / len(request.jobs))
    every = [*before, *new]
    found = learn([keeping.summary_of(one, NAMES) for one in every])
    jobs = [_job(found, every, i, is_new=i >= len(before)) for i in range(len(every))]
    unknowns = sorted(map(_unknown, found.unknowns), key=lambda one: one.width_ratio)
    honesty = _honesty([one.held_out for one in jobs])
    return LearnAnswer(
        form=ANSWER_FORM,
        summary=sentences.summary(jobs, unknowns, honesty),
        jobs=jobs,
        held_out=honesty,
        unknowns=unknowns,
        thermometers=[_thermometer(one) for one in found.instruments],
        calibration=_calibration(found, every, request.learned_at),
        cautions=sentences.cautions(jobs, honesty, request, MODEL_VERSION),
        assumptions=sentences.assumptions(request),
        work=LearnWork(fits=len(new), effective_sets=places(found.effective, 1)),
        model_version=MODEL_VERSION,
    )


def _in_order(earlier: Shop) -> list[KeptJob]:
    """What was kept, its numbers in the order of this model's unknowns."""
    return [
        keeping.kept_of(
            keeping.summary_of(job, earlier.unknowns),
            readings=job.readings,
            tones=job.tones,
            engine_order=job.engine_order,
        )
        for job in earlier.jobs
    ]


def _fitted(job: FinishedJob, place: int) -> KeptJob:
    """Fit one job; what is wrong with it is told of its place."""
    own = tally.Tally()
    try:
        with tally.counted_into(own):
            converted = to_physics(job.case)
            summary = summary_of(
                MeasuredBranch(
                    name=job.name,
                    case=converted.given,
                    readings=readings_of(job, converted),
                    heard=heard_of(job, converted),
                    spreads=spreads_in(job, converted),
                    warming=warming_of(job, converted),
                    warm=known_warm(job),
                    as_read=as_read(job, converted),
                    order=converted.order,
                    order_step=order_step(job),
                )
            )
    except Problem as problem:
        raise _placed(problem.parts.entries, place) from None
    except InputError as error:
        raise _placed([entry_of_physics(error)], place) from None
    except NotConvergedError as error:
        raise Problem(NOT_CONVERGED, f'The job "{job.name}": {error}') from None
    finally:
        tally.add(own.solves, own.iterations)
    return keeping.kept_of(
        summary,
        readings=len(job.readings),
        tones=len(job.heard),
        engine_order=converted.order,
    )


def _placed(entries: Sequence[Entry], place: int) -> Problem:
    moved = [replace(entry, path=("jobs", place, *entry.path)) for entry in entries]
    return Problem(INVALID, moved[0].sentence(), entries=moved)


def _calibration(found: Learned, every: Sequence[KeptJob], when: str | None) -> Calibration:
    ranges = found.shop.ranges
    return calibrations.to_answer(found.shop.learned).model_copy(
        update={
            "shop": Shop(
                form=FORM,
                learned_at=when,
                learned_on=LearnedOn(
                    least=calibrations.place_told(ranges.low),
                    most=calibrations.place_told(ranges.high),
                ),
                unknowns=list(NAMES),
                jobs=list(every),
            )
        }
    )


def _job(found: Learned, every: Sequence[KeptJob], i: int, *, is_new: bool) -> LearnedJob:
    kept, apart = every[i], found.apart[i]
    held_out = None if len(every) == 1 else _held_out(found.held_out[i], kept.engine_order)
    return LearnedJob(
        name=kept.name,
        is_new=is_new,
        outcome=kept.outcome,
        readings=kept.readings,
        tones=kept.tones,
        apart=apart.apart,
        chance=digits(apart.chance, 2),
        message=sentences.of_job(kept, apart, held_out, len(every)),
        held_out=held_out,
    )


def _held_out(found: HeldOutFound | None, order: float | None) -> HeldOut | None:
    if found is None or not (np.all(np.isfinite([*found.tuned, *found.untuned]))):
        return None
    tuned, untuned = (prediction_of(levels, order) for levels in (found.tuned, found.untuned))
    assert tuned.resonance_Hz is not None, "levels are there"
    assert untuned.resonance_Hz is not None, "levels are there"
    return HeldOut(
        heard_rpm=None if order is None else places(found.heard * 60 / order, 1),
        heard_Hz=places(found.heard, 2),
        from_others_rpm=tuned.quiet_rpm,
        from_others_Hz=tuned.resonance_Hz,
        untuned_Hz=untuned.resonance_Hz,
        within_50=found.within_50,
        within_90=found.within_90,
        width_ratio=places(found.width_ratio, 2),
    )


def _honesty(jobs: Sequence[HeldOut | None]) -> HonestySoFar | None:
    heard = [one for one in jobs if one is not None]
    if not heard:
        return None
    return HonestySoFar(
        jobs=len(heard),
        within_50=sum(one.within_50 for one in heard),
        within_90=sum(one.within_90 for one in heard),
        width_ratio=places(float(np.median([one.width_ratio for one in heard])), 2),
    )


def _unknown(found: SharedUnknown) -> LearnedUnknown:
    usual = USUAL[found.name]
    low, _, middle, _, high = found.between
    return LearnedUnknown(
        name=found.name,
        meaning=MEANINGS[found.name],
        jobs=found.jobs,
        usual=digits(math.exp(usual.centre), 3),
        usual_90=_interval(usual.centre, usual.spread),
        common=digits(math.exp(found.common), 3),
        common_90=_interval(found.common, found.common_spread),
        between_jobs=digits(math.exp(middle), 3),
        between_jobs_90=(digits(math.exp(low), 3), digits(math.exp(high), 3)),
        next_90=_interval(found.common, found.next_spread),
        width_ratio=places(found.next_spread / usual.spread, 2),
    )


def _thermometer(found: Instrument) -> LearnedThermometer:
    middle, half = 100 * found.scale, 100 * NORMAL_90 * found.spread
    low, high = places(middle - half, 1), places(middle + half, 1)
    name = keeping.name_of(found.name)
    return LearnedThermometer(
        thermometer=keeping.kind_of(found.name),
        thermometer_name=name,
        jobs=found.jobs,
        shows_too_much_percent=places(middle, 1),
        shows_too_much_90_percent=(low, high),
        message=sentences.of_thermometer(name, found.jobs, low, high),
    )


def _interval(centre: float, spread: float) -> Pair:
    low, high = (math.exp(centre + sign * NORMAL_90 * spread) for sign in (-1, 1))
    return digits(low, 3), digits(high, 3)
