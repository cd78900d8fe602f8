"""``POST /v1/steady``: the branch warm through."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Request
from starlette.responses import Response

from warmbranch_service.contract.forms import CONTENT, JSON, written
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.routes.answering import work_out
from warmbranch_service.http.routes.strict_route import StrictRoute, problem_responses
from warmbranch_service.steady import answer
from warmbranch_service.steady.answer_schema import SteadyAnswer
from warmbranch_service.steady.request import SteadyRequest

router = APIRouter(route_class=StrictRoute, tags=["model"])


@router.post(
    "/v1/steady",
    summary="Temperatures, resonance, heat and transmission loss, warm through",
    response_class=Response,
    responses={
        200: {"model": SteadyAnswer, "description": "The answer.", "content": CONTENT},
        **problem_responses(400, 413, 415, 422, 500, 503),
    },
)
async def steady(
    body: Annotated[SteadyRequest, Body(openapi_examples=request_examples.steady())],
    request: Request,
) -> Response:
    """Predict one branch.

    Stateless: the same request gives the same answer, and nothing is kept.
    """
    return await work_out(request, lambda form: as_bytes(body, form))


def as_bytes(body: SteadyRequest, form: str = JSON) -> bytes:
    """The answer in a form; NaN and infinity were refused when it was built."""
    return written(answer.steady(body), form, "steady")
