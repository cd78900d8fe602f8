"""Which varied field matters most for a number of the answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from pydantic import BaseModel, Field
from pydantic_core import from_json

from warmbranch.many.ranking import NoVarianceError, indices, ranking_points, whole_draws
from warmbranch_service.contract.rounding import places
from warmbranch_service.steady.outputs import OUTPUTS
from warmbranch_service.sweep.executors import Executor
from warmbranch_service.sweep.plan import Chunk, Plan
from warmbranch_service.sweep.request import SweepRequest
from warmbranch_service.sweep.varied import ListSampling
from warmbranch_service.version import MODEL_VERSION

MOST_LEFT_OUT = 0.01
"""Share of the draws that may lack an answer: what is ranked is then still what was asked for."""


class RankingError(Exception):
    """It cannot be ranked; its text says why and what to do."""


class RankedField(BaseModel):
    """How much one varied field matters."""

    field: str
    unit: str | None
    first_order: float = Field(description="Share of the variance that goes once it is known.")
    first_order_95: float = Field(description="Half-width of the 95 % interval.")
    total: float = Field(description="Share that stays while it alone is unknown.")
    total_95: float = Field(description="Half-width of the 95 % interval.")


class Ranking(BaseModel):
    """The varied fields, the one with the largest total index first."""

    answer: str
    unit: str
    designs: int = Field(description="Designs that were solved.")
    draws_left_out: int = Field(description="Draws with a design that has no answer.")
    mean: float
    standard_deviation: float
    fields: list[RankedField]
    model_version: str = MODEL_VERSION


class Question(NamedTuple):
    """What is to be ranked, and the designs that it takes."""

    plan: Plan
    answer: str
    unit: str
    seed: int


def question(request: SweepRequest, answer: str, draws: int) -> Question:
    """Lay out the designs.

    Parameters
    ----------
    request : SweepRequest
        Its sampling gives the seed at most; its outputs are not looked at.
    answer : str
        A number of the steady answer, or a transmission loss that the request asks for.
    draws : int
        A power of two; each is as many designs as there are varied fields, and two.

    Raises
    ------
    RankingError
        There is no such number, or fields are tied together by a list.
    """
    if isinstance(request.sampling, ListSampling):
        raise RankingError(
            'Sampling by "list" ties the fields together, and what is tied cannot be told apart. '
            "Draw instead: sampling by sobol or latin hypercube."
        )
    seed = getattr(request.sampling, "seed", 0)
    body = request.model_dump(mode="json", by_alias=True, exclude_unset=True)
    body.pop("from_line", None)
    if answer in OUTPUTS:
        body |= {"transmission_loss_at_rpm": [], "transmission_loss_at_Hz": []}
        body |= {"outputs": [answer], "interval": False}
    else:
        known = Plan(request).loss_names
        if answer not in known:
            raise RankingError(
                f"There is no {answer}. Choose one of: {', '.join([*OUTPUTS, *known])}."
            )
        body.pop("outputs", None)
        body["interval"] = False
    points = ranking_points(draws, len(request.vary), seed)
    body["sampling"] = {"method": "sobol", "count": len(points), "seed": seed}
    plan = Plan(SweepRequest.model_validate(body), points)
    (unit,) = (output.unit for output in plan.outputs() if output.name == answer)
    return Question(plan, answer, unit, seed)


def rank(asked: Question, executor: Executor, progress: Callable[[Chunk], None]) -> Ranking:
    """Solve the designs and rank the fields.

    Raises
    ------
    RankingError
        Too many designs lack the answer, or it is the same for all.
    ExecutorError, StoppedError
        See executors.py.
    """
    plan, inputs = asked.plan, len(asked.plan.fields)
    answers: list[float] = []
    without: list[dict[str, Any]] = []
    for chunk in executor.solved(plan, range(plan.chunks)):
        for row in map(from_json, chunk.rows):
            outputs: dict[str, float | None] = row["outputs"] or {}
            value = outputs.get(asked.answer)
            answers.append(np.nan if value is None else value)
            if value is None and not without:
                without.append(row)
        progress(chunk)
    found = np.array(answers)
    whole = whole_draws(found, inputs)
    left_out = int(np.sum(~whole))
    if left_out > MOST_LEFT_OUT * len(whole):
        raise RankingError(_too_many(asked, int(np.sum(np.isnan(found))), without[0]))
    try:
        result = indices(found, inputs, asked.seed)
    except NoVarianceError:
        raise RankingError(
            f"{asked.answer} is the same for all designs: none of the varied fields matters for it."
        ) from None
    fields = [
        RankedField(
            field=field.name,
            unit=field.unit,
            first_order=places(float(result.first[i]), 4),
            first_order_95=places(float(result.first_95[i]), 4),
            total=places(float(result.total[i]), 4),
            total_95=places(float(result.total_95[i]), 4),
        )
        for i, field in enumerate(plan.fields)
    ]
    return Ranking(
        answer=asked.answer,
        unit=asked.unit,
        designs=plan.designs,
        draws_left_out=left_out,
        mean=float(f"{result.mean:.6g}"),
        standard_deviation=float(f"{result.standard_deviation:.4g}"),
        fields=sorted(fields, key=lambda field: -field.total),
    )


def readable_ranking(ranking: Ranking) -> str:
    """The ranking as a table."""
    unit = "" if ranking.unit == "1" else f" {ranking.unit}"
    wide = max(46, *(len(field.field) + 1 for field in ranking.fields))
    lines = [
        f"What matters for {ranking.answer}",
        f"  {ranking.designs} designs: mean {ranking.mean:g}{unit}, standard deviation "
        f"{ranking.standard_deviation:g}{unit}",
        "",
        f"  {'varied field':<{wide}}{'alone':>11}{'in all':>15}",
    ]
    lines += [
        f"  {field.field:<{wide}}{_share(field.first_order, field.first_order_95):>13}"
        f"{_share(field.total, field.total_95):>15}"
        for field in ranking.fields
    ]
    lines += [
        "",
        "  alone    share of the variance that goes, on average, once this field is known",
        "  in all   share that stays while this field is the only one unknown",
        "  ±        half of the interval that holds 95 %, by resampling",
    ]
    if ranking.draws_left_out:
        lines.append(f"  {ranking.draws_left_out} draws were left out: a design had no answer.")
    return "\n".join(lines) + "\n"


def _share(value: float, half: float) -> str:
    return f"{places(value, 2):.2f} ± {half:.2f}"


def _too_many(asked: Question, count: int, row: dict[str, Any]) -> str:
    told = f"{count} of {asked.plan.designs} designs have no {asked.answer}, such as one "
    if row["errors"]:
        told += f"that is not admitted: {row['errors'][0]['detail']} Narrow the ranges."
    elif row["outcome"] == "resonance found":
        told += "without an engine. Give case.engine, or --answer resonance.frequency_Hz[0]."
    else:
        told += f'that ended with "{row["outcome"]}". Narrow the ranges.'
    return told
