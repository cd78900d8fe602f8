"""Sentences of the answer to ``POST /v1/learn``."""

from __future__ import annotations

import math
from collections.abc import Sequence

from warmbranch.learn.solve import Apart
from warmbranch_service.case.shop import KeptJob
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.text import named
from warmbranch_service.fit.sentences import NAMES as MEANINGS
from warmbranch_service.learn.answer_schema import (
    HeldOut,
    HonestySoFar,
    LearnedJob,
    LearnedUnknown,
)
from warmbranch_service.learn.request import LearnRequest

FEW = 3
"""Jobs below which next to nothing is learned."""

UNLIKELY = 0.05
"""Chance of so few tones within the 90 % interval, below which that is called dishonest."""

NARROWED = 0.95
"""Width over the usual one below which a coefficient is named as better known."""

MOST_NAMED = 3
LEAST_CHANCE = 1e-6
"""Below it a chance is not told as a number."""


def of_job(kept: KeptJob, apart: Apart, held_out: HeldOut | None, jobs: int) -> str:
    """One job beside the others."""
    said: list[str] = []
    if held_out is not None:
        rpm = held_out.from_others_rpm
        levels, unit = (held_out.from_others_Hz, "Hz") if rpm is None else (rpm, "rpm")
        heard = held_out.heard_Hz if rpm is None else held_out.heard_rpm
        low, high = levels.interval_90
        where = "within" if held_out.within_90 else "outside"
        said.append(
            f"Heard at {heard:.0f} {unit}, {where} the {low:.0f} to {high:.0f} {unit} that the "
            "others give it with 90 %."
        )
    elif jobs == 1:
        said.append("There is no other job to hold it against.")
    else:
        said.append("No warm tone was heard that counts, so nothing holds the others to account.")
    if not kept.seen:
        said.append("It tells nothing of what jobs share.")
    if apart.apart:
        said.append(_apart(apart))
    return " ".join(said)


def _apart(apart: Apart) -> str:
    once = "once in more than a million" if apart.chance < LEAST_CHANCE else _once(apart.chance)
    factor = f"{apart.factor:.2g} times" if math.isfinite(apart.factor) else "far from"
    return (
        f"It stands apart: a job of the others' kind lies so far off {once}. Most of it is "
        f"{MEANINGS[apart.unknown]}, {factor} what the others say. Doubt a reading, its gas "
        "temperature or its lengths, or think what was different there: another fuel, another "
        "shape of mouth."
    )


def of_thermometer(name: str, jobs: int, low: float, high: float) -> str:
    """What the jobs say of one thermometer, by the 90 % interval of what it shows too much, %."""
    read = "one job" if jobs == 1 else f"{jobs} jobs"
    if low > 0:
        told = f"shows {low:.1f} to {high:.1f} % too much"
    elif high < 0:
        told = f"shows {-high:.1f} to {-low:.1f} % too little"
    else:
        return (
            f"“{name}”, by {read}: no more than {max(-low, high):.1f} % off its °C, with 90 %; "
            "they do not tell which way."
        )
    return f"“{name}” {told} of its °C, by {read}, with 90 %: have it checked."


def _once(chance: float) -> str:
    return f"once in {float(f'{1 / chance:.2g}'):.0f}"


def summary(
    jobs: Sequence[LearnedJob], unknowns: Sequence[LearnedUnknown], honesty: HonestySoFar | None
) -> str:
    """The answer in plain words."""
    count = len(jobs)
    said = [
        "One job hardly teaches anything of the next: nothing says how much jobs differ."
        if count == 1
        else f"{count} jobs were learned from."
    ]
    if honesty is not None:
        said.append(
            f"Each of {honesty.jobs} was heard and predicted from all others: {honesty.within_90} "
            f"within the 90 % interval, {honesty.within_50} within the 50 % one. That interval "
            f"was {honesty.width_ratio:.2f} times as wide as without any job (median)."
        )
    known = [one for one in unknowns if one.width_ratio < NARROWED][:MOST_NAMED]
    if known and count > 1:
        parts = [f"{one.meaning} ({one.width_ratio:.2f} of the usual width)" for one in known]
        said.append(f"Best known by now: {named(parts)}.")
    apart = [f"“{one.name}”" for one in jobs if one.apart]
    if apart:
        verb = "stands" if len(apart) == 1 else "stand"
        said.append(f"{named(apart)} {verb} apart from the others; see why before you rely on it.")
    return " ".join(said)


def cautions(
    jobs: Sequence[LearnedJob],
    honesty: HonestySoFar | None,
    request: LearnRequest,
    model_version: str,
) -> list[Caution]:
    """What to know before the calibration is used."""
    found: list[Caution] = []
    for one in jobs:
        if one.apart:
            text = f"“{one.name}”: {one.message}"
            found.append(Caution(code="job_apart", message=text, field="jobs"))
    if honesty is not None and _at_most(honesty.within_90, honesty.jobs, 0.9) < UNLIKELY:
        text = (
            f"Only {honesty.within_90} of {honesty.jobs} jobs were heard where the others say with "
            "90 %. The jobs are not of one kind, or something was misread: do not rely on this."
        )
        found.append(Caution(code="shop_misses", message=text, field="jobs"))
    if len(jobs) < FEW:
        text = (
            f"Fewer than {FEW} jobs hardly narrow anything, as they do not tell how much jobs "
            "differ. Three to six that were read and heard begin to."
        )
        found.append(Caution(code="few_jobs", message=text, field="jobs"))
    earlier = request.earlier
    if earlier is not None and earlier.model_version != model_version:
        text = (
            f"Model {earlier.model_version} fitted the earlier jobs, and model {model_version} the "
            "new ones. Learn all again from the jobs' own files."
        )
        field = "earlier.model_version"
        found.append(Caution(code="shop_of_another_model", message=text, field=field))
    return found


def assumptions(request: LearnRequest) -> list[str]:
    """What was taken for granted."""
    said = [
        "What is of the physics (the exchange at the mouth, the stirring, the films, what the "
        "model leaves over) is partly common to all jobs and partly of each; how much is found "
        "from the jobs, and is our judgement before any. Gas, air, flow and paint are of each job "
        "alone, and so is what a thermometer shows too much, unless thermometer_name tells which "
        "jobs were read with the same.",
        "The next job is of the same kind: the same fuel, the same shape of mouth, measured and "
        "read as these were.",
    ]
    again = [job.name for job in request.jobs if job.case.closures.calibration is not None]
    if again:
        listed = named([f"“{name}”" for name in again])
        said.append(f"The calibration in the case of {listed} was left aside, not counted again.")
    return said


def _at_most(hits: int, of: int, chance: float) -> float:
    """Chance of so many hits or fewer: the binomial distribution's sum."""
    return sum(math.comb(of, k) * chance**k * (1 - chance) ** (of - k) for k in range(hits + 1))
