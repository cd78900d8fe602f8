"""Regenerate ``answer_examples.json`` beside it: examples of answers' fields, as really answered.

``python -m warmbranch_service.http.openapi.make_answer_examples`` sends every request that the
OpenAPI document shows and keeps, of each field of each object, the first value that is not null.
Lists are cut to three entries. Fields that hold objects are left out: the objects have examples of
their own.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any, cast

from pydantic import BaseModel

from warmbranch_service.contract.errors import INVALID, TYPE_PREFIX
from warmbranch_service.fit.answer import answer_fit
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.routes.health import Health, ProblemKind
from warmbranch_service.http.routes.reference import reference_answer
from warmbranch_service.learn.answer import answer_learn
from warmbranch_service.learn.request import LearnRequest
from warmbranch_service.length.answer import answer_length
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.steady.answer import steady
from warmbranch_service.steady.request import SteadyRequest
from warmbranch_service.sweep.answer_schema import SweepLine
from warmbranch_service.sweep.plan import Plan
from warmbranch_service.sweep.request import SweepRequest
from warmbranch_service.sweep.solving import solve_task
from warmbranch_service.warmup.answer import warmup
from warmbranch_service.warmup.request import WarmupRequest

LONGEST_LIST = 3

Examples = dict[str, dict[str, Any]]


def answers() -> Iterator[BaseModel]:
    """Every answer to every request that the document shows."""
    for shown in request_examples.steady().values():
        yield steady(SteadyRequest.model_validate(shown["value"]))
    for shown in request_examples.fit().values():
        yield answer_fit(FitRequest.model_validate(shown["value"]))
    for shown in request_examples.learn().values():
        yield answer_learn(LearnRequest.model_validate(shown["value"]))
    for shown in request_examples.length().values():
        yield answer_length(LengthRequest.model_validate(shown["value"]))
    for shown in request_examples.warmup().values():
        yield warmup(WarmupRequest.model_validate(shown["value"]))
    for shown in request_examples.sweep().values():
        yield from _sweep_lines(SweepRequest.model_validate(shown["value"]))
    yield reference_answer()
    yield Health(status="ok", model_version="0.2.0")
    yield ProblemKind(
        type=TYPE_PREFIX + INVALID.name,
        title=INVALID.title,
        status=INVALID.status,
        meaning=INVALID.meaning,
    )


def _sweep_lines(asked: SweepRequest) -> Iterator[BaseModel]:
    plan = Plan(asked)
    solved = [line for task in plan.tasks() for line in plan.lines_of(solve_task(task))]
    for line in (plan.header(), *solved, plan.end()):
        yield SweepLine.model_validate_json(line).root


def gather() -> Examples:
    """Examples by model and field."""
    found: Examples = {}
    for answer in answers():
        _gather(answer, found)
    return {model: dict(sorted(fields.items())) for model, fields in sorted(found.items())}


def _gather(model: BaseModel, found: Examples) -> None:
    kept = found.setdefault(type(model).__name__, {})
    plain = model.model_dump(mode="json")
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        inside = list(_models_in(value))
        for part in inside:
            _gather(part, found)
        example = _cut(plain[name])
        if inside or field.examples or example in (None, []) or kept.get(name):
            continue
        kept[name] = example


def _models_in(value: object) -> Iterator[BaseModel]:
    if isinstance(value, BaseModel):
        yield value
    elif isinstance(value, (list, tuple)):
        for part in cast("list[object]", value):
            yield from _models_in(part)


def _cut(value: Any) -> Any:
    if not isinstance(value, list):
        return value
    return [_cut(part) for part in cast("list[Any]", value)[:LONGEST_LIST]]


def as_text(examples: Examples) -> str:
    """The file's text."""
    return json.dumps(examples, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    target = Path(str(files("warmbranch_service").joinpath("http/openapi/answer_examples.json")))
    target.write_text(as_text(gather()), encoding="utf-8")
