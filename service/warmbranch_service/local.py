"""Answering a request without HTTP, with the same checks and the same refusals.

Each question's schemas and solver are imported when it is asked: a start should pay for one of
them, not for all.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError

from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch_service.contract.errors import NOT_CONVERGED, Problem
from warmbranch_service.contract.refusals import invalid, refused_by_physics
from warmbranch_service.contract.strict_json import parse, refuse_what_is_no_text

if TYPE_CHECKING:
    from warmbranch_service.fit.answer_schema import FitAnswer
    from warmbranch_service.learn.answer_schema import LearnAnswer
    from warmbranch_service.length.answer_schema import LengthAnswer
    from warmbranch_service.steady.answer_schema import SteadyAnswer
    from warmbranch_service.sweep.request import SweepRequest
    from warmbranch_service.sweep.whole import Swept
    from warmbranch_service.warmup.answer_schema import WarmupAnswer


def steady_of(body: bytes) -> SteadyAnswer:
    """Answer the body of a ``POST /v1/steady``.

    Raises
    ------
    Problem
        For everything that the service would answer with a failure.
    """
    from warmbranch_service.steady.answer import steady
    from warmbranch_service.steady.request import SteadyRequest

    return _answered(parse(body), SteadyRequest, steady)


def warmup_of(body: bytes) -> WarmupAnswer:
    """Answer the body of a ``POST /v1/warmup``.

    Raises
    ------
    Problem
        For everything that the service would answer with a failure.
    """
    from warmbranch_service.warmup.answer import warmup
    from warmbranch_service.warmup.request import WarmupRequest

    return _answered(parse(body), WarmupRequest, warmup)


def fit_of(body: bytes, readings_csv: str | None = None, table_name: str = "") -> FitAnswer:
    """Answer the body of a ``POST /v1/fit``.

    Parameters
    ----------
    body : bytes
    readings_csv : str, optional
        Readings that follow those of the body: see readings_csv.py.
    table_name : str
        Of their file, for what is told of it.

    Raises
    ------
    Problem
        For everything that the service would answer with a failure.
    """
    from warmbranch_service.fit.answer import answer_fit
    from warmbranch_service.fit.readings_csv import placed, with_readings
    from warmbranch_service.fit.request import FitRequest

    value = parse(body)
    if readings_csv is None:
        return _answered(value, FitRequest, answer_fit)
    try:
        full = with_readings(value, readings_csv, table_name)
        refuse_what_is_no_text(full)
        return _answered(full, FitRequest, answer_fit)
    except Problem as problem:
        raise Problem.of(placed(problem.parts, value, readings_csv, table_name)) from None


def learn_of(body: bytes) -> LearnAnswer:
    """Answer the body of a ``POST /v1/learn``.

    Raises
    ------
    Problem
        For everything that the service would answer with a failure.
    """
    from warmbranch_service.learn.answer import answer_learn
    from warmbranch_service.learn.request import LearnRequest

    return _answered(parse(body), LearnRequest, answer_learn)


def length_of(body: bytes) -> LengthAnswer:
    """Answer the body of a ``POST /v1/length``.

    Raises
    ------
    Problem
        For everything that the service would answer with a failure.
    """
    from warmbranch_service.length.answer import answer_length
    from warmbranch_service.length.request import LengthRequest

    return _answered(parse(body), LengthRequest, answer_length)


def sweep_request_of(body: bytes) -> SweepRequest:
    """Check the body of a ``POST /v1/sweep``.

    Raises
    ------
    Problem
        For everything that the service would refuse, but for its own limit of designs.
    """
    from warmbranch_service.sweep.request import SweepRequest

    return _answered(parse(body), SweepRequest, lambda request: request)


def sweep_of(body: bytes, *, processes: int = 1) -> Swept:
    """Answer the body of a ``POST /v1/sweep``, all designs at once.

    Raises
    ------
    Problem
        For everything that the service would refuse, but for its own limit of designs.
    """
    from warmbranch_service.sweep.request import SweepRequest
    from warmbranch_service.sweep.whole import swept

    return _answered(parse(body), SweepRequest, lambda request: swept(request, processes=processes))


Wanted = TypeVar("Wanted", bound=BaseModel)
Given = TypeVar("Given")


def _answered(value: Any, model: type[Wanted], answer: Callable[[Wanted], Given]) -> Given:
    try:
        request = model.model_validate(value)
    except ValidationError as error:
        raise Problem.of(invalid(error.errors(), value, model)) from None
    try:
        return answer(request)
    except InputError as error:
        raise Problem.of(refused_by_physics(error)) from None
    except NotConvergedError as error:
        raise Problem(NOT_CONVERGED, str(error)) from None
