"""Answering a request without HTTP, with the same checks and the same refusals."""

from __future__ import annotations

from pydantic import ValidationError

from warmbranch.errors import InputError, NotConvergedError
from warmbranch_service.answer import steady
from warmbranch_service.errors import NOT_CONVERGED, Problem
from warmbranch_service.refusals import invalid, refused_by_physics
from warmbranch_service.schemas.steady import SteadyAnswer, SteadyRequest
from warmbranch_service.strict_json import parse


def steady_of(body: bytes) -> SteadyAnswer:
    """Answer the body of a ``POST /v1/steady``.

    Raises
    ------
    Problem
        For everything that the service would answer with a failure.
    """
    value = parse(body)
    try:
        request = SteadyRequest.model_validate(value)
    except ValidationError as error:
        raise Problem.of(invalid(error.errors(), value, SteadyRequest)) from None
    try:
        return steady(request)
    except InputError as error:
        raise Problem.of(refused_by_physics(error)) from None
    except NotConvergedError as error:
        raise Problem(NOT_CONVERGED, str(error)) from None
