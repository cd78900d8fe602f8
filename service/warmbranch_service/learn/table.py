"""The answer to ``POST /v1/learn`` as a table to read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from warmbranch_service.contract.report import composed
from warmbranch_service.contract.text import listed

if TYPE_CHECKING:
    from warmbranch_service.learn.answer_schema import LearnAnswer

LONGEST_NAME = 24


def headline(answer: LearnAnswer) -> str:
    """The answer in one line."""
    count, honesty = len(answer.jobs), answer.held_out
    jobs = "One job" if count == 1 else f"{count} jobs"
    if honesty is None:
        return f"{jobs}: kept, but no tone tells yet how good the next prediction is."
    text = (
        f"{jobs}: {honesty.within_90} of {honesty.jobs} heard where the others say with 90 %, in "
        f"an interval {honesty.width_ratio:.2f} times the usual one."
    )
    apart = sum(one.apart for one in answer.jobs)
    return text if apart == 0 else f"{text} {apart} {'stands' if apart == 1 else 'stand'} apart."


def readable_learn(answer: LearnAnswer, *, full: bool = True) -> str:
    """The answer as text."""
    return composed(
        headline(answer),
        answer.summary,
        [_jobs(answer), _apart(answer), _thermometers(answer), _unknowns(answer)],
        cautions=answer.cautions,
        assumptions=answer.assumptions,
        model_version=answer.model_version,
        full=full,
    )


def _jobs(answer: LearnAnswer) -> list[str]:
    lines = [
        "Each job, predicted from all others",
        f"  {'':<{LONGEST_NAME}}{'heard':>11}{'from the others, 90 %':>24}{'width':>7}",
    ]
    for one in answer.jobs:
        name, held = one.name, one.held_out
        if len(name) > LONGEST_NAME:  # the numbers go below it
            lines.append(f"  {name}")
            name = ""
        if held is None:
            lines.append(f"  {name:<{LONGEST_NAME}}{'-':>11}{'-':>24}{'-':>7}")
            continue
        levels, heard, unit = held.from_others_rpm, held.heard_rpm, "rpm"
        if levels is None or heard is None:
            levels, heard, unit = held.from_others_Hz, held.heard_Hz, "Hz"
        low, high = levels.interval_90
        span = f"{low:.0f} to {high:.0f} {unit}"
        mark = "" if held.within_90 else "  outside"
        mark += "  apart" * one.apart
        lines.append(
            f"  {name:<{LONGEST_NAME}}{heard:>7.0f} {unit:<3}{span:>24}{held.width_ratio:>7.2f}"
            + mark
        )
    return lines


def _apart(answer: LearnAnswer) -> list[str]:
    return [
        "What stands apart",
        *listed(f"{one.name}: {one.message}" for one in answer.jobs if one.apart),
    ]


def _thermometers(answer: LearnAnswer) -> list[str]:
    return ["Thermometers with a name", *listed(one.message for one in answer.thermometers)]


def _unknowns(answer: LearnAnswer) -> list[str]:
    lines = [
        "What jobs share",
        f"  {'':<22}{'usual, 90 %':>18}{'next job, 90 %':>18}{'width':>7}{'jobs differ':>12}",
    ]
    for one in answer.unknowns:
        before = f"{one.usual_90[0]:.3g} to {one.usual_90[1]:.3g}"
        after = f"{one.next_90[0]:.3g} to {one.next_90[1]:.3g}"
        factor = f"x {one.between_jobs:.2f}"
        lines.append(f"  {one.name:<22}{before:>18}{after:>18}{one.width_ratio:>7.2f}{factor:>12}")
    return lines
