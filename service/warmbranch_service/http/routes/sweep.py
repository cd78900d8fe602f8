"""``POST /v1/sweep``: many designs, one line each, while they are solved."""

from __future__ import annotations

import logging
from collections.abc import AsyncGenerator, Iterator
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from starlette.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

from warmbranch_service.contract.errors import (
    INTERNAL,
    INVALID,
    NO_WORKERS,
    Entry,
    Problem,
    ProblemParts,
    problem_json,
)
from warmbranch_service.contract.forms import CSV, MEDIA_TYPES, VARY, form_of
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.passage.turns import SweepPlace
from warmbranch_service.http.passage.workshop import Workshop, client_of
from warmbranch_service.http.routes.strict_route import WeightyRoute, problem_responses
from warmbranch_service.sweep.answer_forms import FORMS, NDJSON, AnswerForm, answer_form
from warmbranch_service.sweep.answer_schema import SweepFailure, SweepLine
from warmbranch_service.sweep.executors import Executor, ExecutorError
from warmbranch_service.sweep.plan import Chunk, Plan
from warmbranch_service.sweep.request import SweepRequest

PATH = "/v1/sweep"

router = APIRouter(route_class=WeightyRoute, tags=["model"])

log = logging.getLogger("warmbranch")

WORKERS_RETRY_SECONDS = 30
"""Until a cluster that cannot be reached may be there again: someone has to start it."""

TABLE: dict[str, Any] = {
    CSV: {
        "schema": {
            "type": "string",
            "description": "A table, a design a row: index, the varied fields, outcome, the "
            "outputs, errors. A table that breaks off says so by a broken connection.",
        }
    }
}


class BrokenOffError(Exception):
    """An answer has begun and cannot be ended: its connection is broken off."""


class Ndjson(StreamingResponse):
    """JSON objects, one a line."""

    media_type = NDJSON


class _Answer(StreamingResponse):
    """Holds a place as long as it is being sent, even if nobody takes it from the first."""

    def __init__(self, lines: AsyncGenerator[bytes], media_type: str, place: SweepPlace) -> None:
        super().__init__(lines, media_type=media_type, headers=VARY)
        self._place = place

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._place.leave()


@router.post(
    PATH,
    summary="Many designs: any fields of the case over grids, lists, samples or distributions",
    response_class=Ndjson,
    responses={
        200: {
            "model": SweepLine,
            "description": "One JSON object a line: a header, then every design in order with a "
            "line of progress after each chunk, then the end. The schema is that of one line.",
            "content": TABLE,
        },
        **problem_responses(400, 406, 413, 415, 422, 500, 503),
    },
)
async def sweep(
    body: Annotated[SweepRequest, Body(openapi_examples=request_examples.sweep())],
    request: Request,
) -> StreamingResponse:
    """Solve many designs of one case and tell each as soon as its chunk is solved.

    Stateless: the same request gives the same lines, so an answer that broke off is gone on with
    by from_line. A design that is not admitted is a line that says so. The work stops when the
    client leaves.
    """
    refuse_too_many(body.designs, request.app.state.settings.sweep_designs)
    workshop: Workshop = request.app.state.workshop
    form = form_of(request, FORMS)
    stream = _Stream(body, form, workshop, request.app.state.executor, request)
    place = request.app.state.sweeps.take(client_of(request))
    try:
        await stream.begin()
    except BaseException:
        place.leave()
        raise
    return _Answer(stream.lines(), MEDIA_TYPES.get(form, form), place)


def refuse_too_many(designs: int, most: int) -> None:
    """Refuse a sweep that is larger than this service admits."""
    if designs <= most:
        return
    entry = Entry(
        ("sampling",),
        "too_many_designs",
        f"These are {designs} designs, and this service solves at most {most} a request.",
        f"Ask for at most {most}, in several requests, or use the command line: warmbranch sweep.",
        designs,
        "1",
    )
    raise Problem(INVALID, entry.sentence(), entries=[entry])


class _Stream:
    """One answer under way."""

    def __init__(
        self,
        asked: SweepRequest,
        form: str,
        workshop: Workshop,
        executor: Executor,
        asker: Request,
    ) -> None:
        self._asked, self._form_name = asked, form
        self._workshop, self._executor = workshop, executor
        self._asker = asker

    async def begin(self) -> None:
        """Solve the first chunk, so that a failure of it is still told by the status."""
        self._form, self._chunks, self._first = await self._workshop.run(
            self._open, self._asker, chunk=True
        )

    def _open(self) -> tuple[AnswerForm, Iterator[Chunk], bytes | None]:
        plan = Plan(self._asked)
        self._form = answer_form(self._form_name, plan, self._asked.from_line)
        self._chunks = self._executor.solved(plan, self._form.chunks())
        return self._form, self._chunks, self._next()

    async def lines(self) -> AsyncGenerator[bytes]:
        """The answer, a chunk at a time."""
        form, text = self._form, self._first
        yield form.beginning()
        try:
            while text is not None:
                yield text
                text = await self._workshop.run(self._next, self._asker, chunk=True, patient=True)
        except Problem as problem:  # ended: by its time limit, or because the service closes
            log.warning("a sweep was ended: %s", problem.parts.kind.name)
            parts = problem.parts
        except Exception:
            log.exception("a sweep failed after its answer had begun")
            parts = ProblemParts(INTERNAL, "See the service's log; from_line goes on from here.")
        else:
            yield form.end()
            return
        if not form.tells_failures:
            raise BrokenOffError(parts.detail)
        yield self._failure(parts)

    def _failure(self, parts: ProblemParts) -> bytes:
        told = problem_json(
            parts, instance=self._asker.url.path, request_id=self._asker.state.request_id
        )
        return SweepFailure.model_validate({"problem": told}).model_dump_json().encode() + b"\n"

    def _next(self) -> bytes | None:
        """The text of the next chunk, made where it takes nobody's time; None after the last."""
        try:
            chunk = next(self._chunks, None)
            return None if chunk is None else self._form.text(chunk)
        except ExecutorError as error:
            # Told without the cluster's address, which is no business of who asks.
            log.error("the workers of sweeps failed: %s", error)
            wait = WORKERS_RETRY_SECONDS
            detail = f"Sweeps are solved on other machines, which failed. Try again in {wait} s."
            raise Problem(NO_WORKERS, detail, headers={"retry-after": str(wait)}) from None
