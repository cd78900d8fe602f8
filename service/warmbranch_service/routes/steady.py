"""``POST /v1/steady``: the branch warm through."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Request
from starlette.responses import Response

from warmbranch_service import answer, request_examples
from warmbranch_service.schemas.steady import SteadyAnswer, SteadyRequest
from warmbranch_service.strict_json import StrictRoute, problem_responses
from warmbranch_service.workshop import Workshop

router = APIRouter(route_class=StrictRoute, tags=["model"])


@router.post(
    "/v1/steady",
    summary="Temperatures, resonance, heat and transmission loss, warm through",
    response_class=Response,
    responses={
        200: {"model": SteadyAnswer, "description": "The answer."},
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
    workshop: Workshop = request.app.state.workshop
    content = await workshop.run(lambda: as_bytes(body), request)
    return Response(content, media_type="application/json")


def as_bytes(body: SteadyRequest) -> bytes:
    """The answer as JSON; NaN and infinity were refused when it was built."""
    return answer.steady(body).model_dump_json().encode()
