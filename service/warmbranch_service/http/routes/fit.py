"""``POST /v1/fit``: the model fitted to readings and to what was heard."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Request
from starlette.responses import Response

from warmbranch_service.contract.forms import CONTENT, written
from warmbranch_service.fit.answer_schema import FitAnswer
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.routes.answering import work_out
from warmbranch_service.http.routes.strict_route import StrictRoute, problem_responses

router = APIRouter(route_class=StrictRoute, tags=["model"])


@router.post(
    "/v1/fit",
    summary="Calibrated closures, prediction with its uncertainty, next reading, trim",
    response_class=Response,
    responses={
        200: {"model": FitAnswer, "description": "The answer.", "content": CONTENT},
        **problem_responses(400, 413, 415, 422, 500, 503),
    },
)
async def fit(
    body: Annotated[FitRequest, Body(openapi_examples=request_examples.fit())],
    request: Request,
) -> Response:
    """Fit one branch.

    Stateless: the calibration that comes back is the only memory, and it is the sender's.
    """
    return await work_out(request, lambda form: _as_bytes(body, form))


def _as_bytes(body: FitRequest, form: str) -> bytes:
    # Late: a start of the service does not wait for what few requests need.
    from warmbranch_service.fit.answer import answer_fit

    return written(answer_fit(body), form, "fit")
