"""``POST /v1/length``: how long to build, and how to cut it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Request
from starlette.responses import Response

from warmbranch_service.contract.forms import CONTENT, written
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.routes.answering import work_out
from warmbranch_service.http.routes.strict_route import StrictRoute, problem_responses
from warmbranch_service.length.answer_schema import LengthAnswer
from warmbranch_service.length.request import LengthRequest

router = APIRouter(route_class=StrictRoute, tags=["model"])


@router.post(
    "/v1/length",
    summary="Centre-line length, length to build, trim steps, cut list",
    response_class=Response,
    responses={
        200: {"model": LengthAnswer, "description": "The answer.", "content": CONTENT},
        **problem_responses(400, 413, 415, 422, 500, 503),
    },
)
async def length(
    body: Annotated[LengthRequest, Body(openapi_examples=request_examples.length())],
    request: Request,
) -> Response:
    """Find the length for a target.

    Stateless: the same request gives the same answer, and nothing is kept.
    """
    return await work_out(request, lambda form: _as_bytes(body, form))


def _as_bytes(body: LengthRequest, form: str) -> bytes:
    # Late: a start of the service does not wait for what few requests need.
    from warmbranch_service.length.answer import answer_length

    return written(answer_length(body), form, "length")
