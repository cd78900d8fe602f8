"""What of a sweep's request must fit together, with the place of what does not."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, LiteralString, NoReturn, cast

from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from warmbranch_service.case.fields import CaseField, NoSuchFieldError, find
from warmbranch_service.case.schema import Case
from warmbranch_service.contract.fields import refusal
from warmbranch_service.sweep.distributions import LEAST_SHARE, grid_values, share_within_limits
from warmbranch_service.sweep.varied import (
    MOST_DESIGNS,
    WAYS,
    Grid,
    GridSampling,
    ListSampling,
    Spread,
    Vary,
)

if TYPE_CHECKING:
    from warmbranch_service.sweep.request import SweepRequest

FieldPath = list[str | int]

GIVEN_TWICE = {
    "length_given_twice": ("length_mm", "Leave centreline out of the case, or vary a piece of it."),
    "surface_given_twice": ("emissivity", "Give the case an emissivity instead of a surface."),
}
"""Refusals of a case that no value of a varied field can mend, and what can."""


def check(request: SweepRequest) -> tuple[CaseField, ...]:
    """The varied fields; a refusal where something does not fit."""
    fields: list[CaseField] = []
    for i, vary in enumerate(request.vary):
        field = _field(request.case, vary, ["vary", i, "field"])
        if any(field.path == other.path for other in fields):
            _refuse(
                "field_given_twice",
                f"{field.name} is varied twice.",
                "Give each field once.",
                ["vary", i, "field"],
                vary.field,
            )
        fields.append(field)
        _check_way(vary, field, ["vary", i])
    _check_sampling(request)
    _check_given_once(request, fields)
    if request.transmission_loss_at_rpm and request.case.engine is None:
        _refuse(
            "no_engine",
            "Engine speeds mean nothing without an engine.",
            "Give case.engine, or frequencies in transmission_loss_at_Hz.",
            ["transmission_loss_at_rpm"],
            None,
            "rpm",
        )
    if request.from_line > request.lines:
        _refuse(
            "beyond_the_end",
            f"The whole answer has {request.lines} lines.",
            f"Give a whole number from 1 to {request.lines}.",
            ["from_line"],
            request.from_line,
            "1",
        )
    return tuple(fields)


def _field(case: Case, vary: Vary, at: FieldPath) -> CaseField:
    try:
        return find(case, vary.field)
    except NoSuchFieldError as error:
        raise refusal(
            "no_such_field", error.detail, error.remedy, at=at, value=vary.field
        ) from None


def _check_way(vary: Vary, field: CaseField, at: FieldPath) -> None:
    given = [name for name in WAYS if getattr(vary, name) is not None]
    if len(given) != 1:
        what = f"Both {given[0]} and {given[1]} are given." if given else "No values are given."
        _refuse("not_one_way", what, f"Give exactly one of {', '.join(WAYS)}.", at, None)
    for j, value in enumerate(vary.values or ()):
        _checked(field, value, [*at, "values", j])
    if vary.grid is not None:
        _check_grid(vary.grid, field, [*at, "grid"])
    elif vary.spread is not None:
        _check_spread(vary.spread, field, [*at, given[0]])


def _checked(field: CaseField, value: object, at: FieldPath) -> Any:
    """The value in the field's unit; a refusal with its place."""
    try:
        return field.kind.check(value)
    except PydanticCustomError as error:
        told = cast("dict[str, Any]", error.context)
        raise refusal(
            cast("LiteralString", error.type),
            f"{field.name}: {told['detail']}",
            told["remedy"],
            unit=told["unit"],
            at=at,
            value=value,
        ) from None


def _check_grid(grid: Grid, field: CaseField, at: FieldPath) -> None:
    low = _checked(field, grid.from_, [*at, "from"])
    high = _checked(field, grid.to, [*at, "to"])
    if isinstance(low, str) or isinstance(high, str):
        _refuse(
            "names_have_no_grid",
            "There is nothing between two names.",
            "List names under values.",
            at,
            None,
        )
    if grid.spacing == "logarithmic" and not (low > 0 and high > 0):
        _refuse(
            "no_ratio",
            "A logarithmic grid needs both ends above 0.",
            "Give ends above 0, or spacing linear.",
            [*at, "spacing"],
            grid.spacing,
        )
    if low == high:
        _refuse(
            "grid_of_one_value",
            f"The grid ends where it begins, at {low:g}.",
            "Give another end, or one value under values.",
            [*at, "to"],
            grid.to,
            field.unit,
        )
    if not field.is_continuous:
        for value in grid_values(grid, field):
            _checked(field, value, at)


def _check_spread(spread: Spread, field: CaseField, at: FieldPath) -> None:
    if not field.is_continuous:
        _refuse(
            "no_distribution",
            f"{field.name} does not take any number within its bounds.",
            "Give values, of which a sample draws each as often.",
            at,
            None,
        )
    found: dict[str, float] = {}
    for name in ("low", "high", "mean", "median"):
        value = getattr(spread, name, None)
        if value is not None:
            found[name] = _checked(field, value, [*at, name])
    if not found.get("median", 1.0) > 0:
        _refuse(
            "no_logarithm",
            "A lognormal distribution has a median above 0.",
            "Give a median above 0, or another distribution.",
            [*at, "median"],
            found["median"],
            field.unit,
        )
    if not found.get("low", -math.inf) < found.get("high", math.inf):
        _refuse(
            "range_falls",
            f"high, {found['high']:g}, does not lie above low.",
            f"Give a number above {found['low']:g}.",
            [*at, "high"],
            spread.high,
            field.unit,
        )
    if share_within_limits(spread, field) < LEAST_SHARE:
        _refuse(
            "nothing_within_limits",
            "Less than a millionth of the distribution lies between its limits.",
            "Give limits that hold more of it.",
            at,
            None,
        )


def _check_sampling(request: SweepRequest) -> None:
    sampling = request.sampling
    if isinstance(sampling, (GridSampling, ListSampling)):
        for i, vary in enumerate(request.vary):
            if vary.spread is not None:
                _refuse(
                    "needs_a_sample",
                    f"A distribution is drawn from; sampling by {sampling.method} draws none.",
                    "Give values or a grid, or sampling by sobol or latin hypercube.",
                    ["vary", i, vary.way],
                    None,
                )
    if isinstance(sampling, ListSampling):
        for i, vary in enumerate(request.vary):
            if vary.size != request.vary[0].size:
                _refuse(
                    "unequal_lists",
                    f"This field has {vary.size} values, the first {request.vary[0].size}.",
                    "Give every field as many values, or sampling by grid.",
                    ["vary", i, vary.way],
                    vary.size,
                )
    if request.designs > MOST_DESIGNS:
        _refuse(
            "too_many_designs",
            f"These are {request.designs} designs.",
            f"Ask for at most {MOST_DESIGNS}.",
            ["sampling"],
            None,
            "1",
        )


def _check_given_once(request: SweepRequest, fields: list[CaseField]) -> None:
    """Refuse a field that the case cannot take beside what it has, whatever the value."""
    from warmbranch_service.sweep.patch import Patch

    patch = Patch(request.case, fields)
    middle = [_any_value(vary, field) for vary, field in zip(request.vary, fields, strict=True)]
    try:
        Case.model_validate(patch.with_values(middle))
    except ValidationError as error:
        for entry in error.errors():
            name, remedy = GIVEN_TWICE.get(entry["type"], ("", ""))
            for i, field in enumerate(fields):
                if field.path[-1] == name and field.path[1] == entry["loc"][0]:
                    detail = f"{field.name}: {entry['ctx']['detail']}" if "ctx" in entry else ""
                    at: FieldPath = ["vary", i, "field"]
                    _refuse("field_given_twice", detail, remedy, at, request.vary[i].field)


def _any_value(vary: Vary, field: CaseField) -> object:
    if vary.values is not None:
        return vary.values[0]
    if vary.grid is not None:
        return vary.grid.from_
    spread = vary.spread
    middle = getattr(spread, "mean", None) or getattr(spread, "median", None)
    return getattr(spread, "low", None) if middle is None else middle


def _refuse(
    code: LiteralString,
    detail: str,
    remedy: str,
    at: FieldPath,
    value: object,
    unit: str | None = None,
) -> NoReturn:
    raise refusal(code, detail, remedy, unit=unit, at=at, value=value)
