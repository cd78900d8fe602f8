"""``GET /v1/health`` and ``/v1/ready``, ``GET /v1/problems/{name}``."""

from __future__ import annotations

import asyncio
from typing import Annotated, Literal

from fastapi import APIRouter, Path, Request
from pydantic import Field
from starlette.responses import Response

from warmbranch_service.contract.errors import KINDS, NOT_FOUND, NOT_READY, TYPE_PREFIX, Problem
from warmbranch_service.contract.fields import AnswerModel
from warmbranch_service.http.passage import metrics as counts
from warmbranch_service.http.routes.strict_route import problem_responses
from warmbranch_service.version import MODEL_VERSION

router = APIRouter(tags=["service"])


class Health(AnswerModel):
    """The process answers."""

    status: Literal["ok"] = Field(description="It answers.")
    model_version: str = Field(description="Version of the model that answers.")


class Ready(AnswerModel):
    """The service takes work."""

    status: Literal["ready"] = Field(description="It takes work, sweeps included.")


class ProblemKind(AnswerModel):
    """One kind of failure."""

    type: str = Field(description="Stable identifier, as in the field type of a failure.")
    title: str = Field(description="Always the same for one type.")
    status: int = Field(
        description="HTTP status.",
        json_schema_extra={"x-unit": "1", "minimum": 400, "maximum": 599},
    )
    meaning: str = Field(description="What it tells, and what to do about it.")


@router.get(
    "/v1/metrics",
    summary="Numbers for Prometheus",
    response_class=Response,
    responses={
        200: {
            "description": "Counters and gauges of all workers, in Prometheus' text form.",
            "content": {"text/plain": {"schema": {"type": "string"}}},
        }
    },
)
@router.get("/metrics", include_in_schema=False)
async def metrics(request: Request) -> Response:
    """Tell what the service counts."""
    state = request.app.state
    counts.tell_state(state.workshop, ready=state.readiness.is_ready)
    return Response(await asyncio.to_thread(counts.exposition), media_type=counts.MEDIA_TYPE)


ProblemName = Annotated[
    str,
    Path(
        description="The end of the field type of a failure.",
        examples=["invalid-request"],
    ),
]


@router.head("/v1/health", include_in_schema=False)
@router.get("/v1/health", summary="Whether the process answers")
async def health() -> Health:
    """Tell that the process is alive; touches nothing else."""
    return Health(status="ok", model_version=MODEL_VERSION)


@router.head("/v1/ready", include_in_schema=False)
@router.get("/v1/ready", summary="Whether the service takes work", responses=problem_responses(503))
async def ready(request: Request) -> Ready:
    """Tell that the tables are loaded."""
    if not request.app.state.readiness.is_ready:
        raise Problem(NOT_READY, request.app.state.readiness.reason, headers={"retry-after": "1"})
    return Ready(status="ready")


@router.get(
    "/v1/problems/{name}", summary="What a kind of failure means", responses=problem_responses(404)
)
async def problem(name: ProblemName) -> ProblemKind:
    """Explain the field ``type`` of a failure."""
    kind = KINDS.get(name)
    if kind is None:
        known = ", ".join(KINDS)
        raise Problem(NOT_FOUND, f"There is no such kind of failure. Known are: {known}.")
    return ProblemKind(
        type=TYPE_PREFIX + kind.name, title=kind.title, status=kind.status, meaning=kind.meaning
    )
