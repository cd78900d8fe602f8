"""``POST /v1/learn``: what finished jobs say of the next one."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Request
from starlette.responses import Response

from warmbranch_service.contract.forms import CONTENT, written
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.routes.answering import work_out
from warmbranch_service.http.routes.strict_route import StrictRoute, problem_responses
from warmbranch_service.learn.answer_schema import LearnAnswer
from warmbranch_service.learn.request import LearnRequest

router = APIRouter(route_class=StrictRoute, tags=["model"])


@router.post(
    "/v1/learn",
    summary="A shop's calibration from finished jobs, and how honest it is on them",
    response_class=Response,
    responses={
        200: {"model": LearnAnswer, "description": "The answer.", "content": CONTENT},
        **problem_responses(400, 413, 415, 422, 500, 503),
    },
)
async def learn(
    body: Annotated[LearnRequest, Body(openapi_examples=request_examples.learn())],
    request: Request,
) -> Response:
    """Learn from finished jobs.

    Stateless: the calibration that comes back is the only memory, and it is the sender's.
    """
    return await work_out(request, lambda form: _as_bytes(body, form))


def _as_bytes(body: LearnRequest, form: str) -> bytes:
    # Late: a start of the service does not wait for what few requests need.
    from warmbranch_service.learn.answer import answer_learn

    return written(answer_learn(body), form, "learn")
