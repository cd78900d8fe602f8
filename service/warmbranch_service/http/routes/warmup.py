"""``POST /v1/warmup``: cold start against warm, load and weather."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Request
from starlette.responses import Response

from warmbranch_service.contract.forms import CONTENT, written
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.routes.answering import work_out
from warmbranch_service.http.routes.strict_route import StrictRoute, problem_responses
from warmbranch_service.warmup.answer_schema import WarmupAnswer
from warmbranch_service.warmup.request import WarmupRequest

router = APIRouter(route_class=StrictRoute, tags=["model"])


@router.post(
    "/v1/warmup",
    summary="Quiet rpm, temperatures and transmission loss against time; weather and load",
    response_class=Response,
    responses={
        200: {"model": WarmupAnswer, "description": "The answer.", "content": CONTENT},
        **problem_responses(400, 413, 415, 422, 500, 503),
    },
)
async def warmup(
    body: Annotated[WarmupRequest, Body(openapi_examples=request_examples.warmup())],
    request: Request,
) -> Response:
    """Follow one branch while it warms up or cools down.

    Stateless: the same request gives the same answer, and nothing is kept.
    """
    return await work_out(request, lambda form: _as_bytes(body, form))


def _as_bytes(body: WarmupRequest, form: str) -> bytes:
    # Late: a start of the service does not wait for what few requests need.
    from warmbranch_service.warmup.answer import warmup as answer_warmup

    return written(answer_warmup(body), form, "warmup")
