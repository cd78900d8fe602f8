"""The application: ``create_app(settings)``."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from typing import Any

from anyio.lowlevel import checkpoint
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from pydantic import BaseModel
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import Response

from warmbranch.base.errors import InputError, NotConvergedError, StoppedError
from warmbranch.gas.gas import dry_air_table
from warmbranch.gas.property_table import pure_gases
from warmbranch_service.contract import units
from warmbranch_service.contract.errors import (
    CLIENT_LEFT,
    NOT_CONVERGED,
    NOT_FOUND,
    WRONG_METHOD,
    Problem,
    ProblemParts,
    problem_of_status,
    problem_response,
)
from warmbranch_service.contract.fields import nearest
from warmbranch_service.contract.refusals import invalid, refused_by_physics
from warmbranch_service.demo import demo_text
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.http.openapi.document import complete
from warmbranch_service.http.passage import metrics
from warmbranch_service.http.passage.cors import Cors
from warmbranch_service.http.passage.gate import API_KEY_HEADER, Gate
from warmbranch_service.http.passage.middleware import Frame
from warmbranch_service.http.passage.turns import Places
from warmbranch_service.http.passage.workshop import Workshop
from warmbranch_service.http.routes import (
    ask,
    docs,
    fit,
    health,
    learn,
    length,
    listen,
    page,
    reference,
    steady,
    sweep,
    warmup,
)
from warmbranch_service.http.settings import Settings
from warmbranch_service.learn.request import LearnRequest
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.steady.request import SteadyRequest
from warmbranch_service.sweep import choosing
from warmbranch_service.sweep.request import SweepRequest
from warmbranch_service.version import MODEL_VERSION
from warmbranch_service.warmup.request import WarmupRequest

log = logging.getLogger("warmbranch")

TELL_SECONDS = 0.25
"""Between two updates of a worker's gauges."""

DESCRIPTION = """\
How long must a closed side branch on a hot pipe be, given that the gas inside is nowhere near one
temperature?

Units are in the field's name and in its schema as `x-unit`. A number is in that unit; a string
carries its own, as in `"2.25 in"`, `"60 mph"` or `"300 F"`. Answers are always in the named unit.
Unknown fields are refused. Rules that JSON Schema has no words for stand as `x-rules` of the
object that they concern: the code of the refusal, and the rule. Every failure is
`application/problem+json` (RFC 9457) of one shape.
The service is stateless: nothing that is sent is kept.
"""


class Readiness:
    """Whether the service takes work, and if not, why."""

    def __init__(self) -> None:
        self.is_ready = False
        self.reason = "The service is starting: its tables are being loaded. Ask again in a second."

    def close(self) -> None:
        """Take no more work: whoever balances loads looks elsewhere."""
        self.is_ready = False
        self.reason = "The service is closing."

    def warm_up(self) -> None:
        """Load the tables; then solve one case and load the units, ahead of those who ask."""
        try:
            pure_gases()
            dry_air_table()
            self.is_ready = True
            steady.as_bytes(SteadyRequest.model_validate(json.loads(demo_text("van"))))
            units.load()
        except StoppedError:
            raise  # the service closes, or took too long; nothing has failed
        except Exception:
            log.exception("the self-check failed")
            self.is_ready = False
            self.reason = "The self-check at the start failed; see the service's log."


def create_app(settings: Settings | None = None) -> FastAPI:
    """Build the application.

    Parameters
    ----------
    settings : Settings, optional
        From the environment when left out.
    """
    settings = settings or Settings.from_environment()
    readiness = Readiness()
    executor = choosing.executor(
        scheduler=settings.scheduler,
        # Before the time limit, which would tell nothing of it.
        without_workers=min(10.0, settings.seconds_per_request / 2),
    )
    workshop = Workshop(
        at_once=settings.solves_at_once,
        longest_queue=settings.longest_queue,
        seconds=settings.seconds_per_request,
        chunks_elsewhere=settings.sweeps_at_once if settings.scheduler else 0,
    )

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncGenerator[dict[str, Any]]:
        # What server.py calls when it is told to close.
        state = {"closing": readiness.close, "end_all": workshop.end_all}
        watch = asyncio.create_task(_keep_telling(workshop, readiness))
        await checkpoint()  # loads what answers that stream need, before anybody waits for it
        if settings.warm_up:
            # Beside the first requests, not before them: whoever asks early waits a little.
            task = asyncio.create_task(workshop.run(readiness.warm_up))
            yield state
            workshop.end_all()  # nobody needs it any more; its thread's end is waited for
            with suppress(Problem):
                await task
        else:
            readiness.is_ready = True
            yield state
        watch.cancel()
        await asyncio.to_thread(executor.close)

    app = FastAPI(
        title="Warmbranch",
        version=MODEL_VERSION,
        summary="How long a closed side branch on a hot pipe must be",
        description=DESCRIPTION,
        openapi_url=None,  # routes/docs.py serves it
        docs_url=None,
        redoc_url=None,
        lifespan=lifespan,
        generate_unique_id_function=_operation_id,
        redirect_slashes=False,
        separate_input_output_schemas=False,  # a calibration goes back in as it came
    )
    app.state.readiness = readiness
    app.state.workshop = workshop
    app.state.settings = settings
    app.state.executor = executor
    app.state.sweeps = Places(settings.sweeps_at_once, settings.sweeps_per_client)
    model = (steady.router, fit.router, learn.router, length.router, warmup.router)
    for router in (*model, sweep.router, listen.router, reference.router, health.router):
        app.include_router(router)
    for router in (docs.router, page.router, ask.router):
        app.include_router(router)
    for kind, dress in _DRESS.items():
        app.add_exception_handler(kind, _handler(dress, aside=kind is RequestValidationError))
    app.add_middleware(
        Gate,
        keys=settings.all_keys() if settings.asks_for_keys else None,
        per_minute=settings.requests_per_minute,
        full={sweep.PATH: app.state.sweeps.look},
    )
    if settings.cors_origins:
        app.add_middleware(
            Cors,
            allow_origins=settings.cors_origins,
            allow_methods=("GET", "POST"),
            allow_headers=("content-type", "x-request-id", API_KEY_HEADER),
            expose_headers=("x-request-id", "retry-after", "etag", "www-authenticate"),
        )
    app.add_middleware(
        Frame,
        longest_body=settings.longest_body,
        longer={listen.PATH: settings.recordings_body},
    )
    _complete_schema(app)
    return app


async def _keep_telling(workshop: Workshop, readiness: Readiness) -> None:
    """Keep this worker's gauges up to date for whichever worker is asked for them."""
    while True:
        metrics.tell_state(workshop, ready=readiness.is_ready)
        await asyncio.sleep(TELL_SECONDS)


def _operation_id(route: APIRoute) -> str:
    return route.name


def _dress_problem(error: Exception, _: str) -> ProblemParts:
    assert isinstance(error, Problem)
    return error.parts


def _dress_framework(error: Exception, path: str) -> ProblemParts:
    assert isinstance(error, HTTPException)
    detail = str(error.detail)
    if error.status_code == NOT_FOUND.status:
        detail = f"There is nothing at this address. {nearest(path, ADDRESSES)}{SEE_ALL}"
    elif error.status_code == WRONG_METHOD.status:
        allowed = (error.headers or {}).get("Allow", "another method")
        detail = f"This address takes {allowed}."
        if path in REQUESTS:
            detail += f" Send a JSON body: {EXAMPLE_CALL.format(path=path)}"
    return problem_of_status(error.status_code, detail, error.headers)


REQUESTS: dict[str, type[BaseModel]] = {
    "/v1/steady": SteadyRequest,
    "/v1/fit": FitRequest,
    "/v1/learn": LearnRequest,
    "/v1/length": LengthRequest,
    "/v1/warmup": WarmupRequest,
    "/v1/sweep": SweepRequest,
}
"""What each route takes, to name the fields that exist when one is refused."""


ADDRESSES = (*REQUESTS, "/v1/ready", "/v1/health", "/v1/reference", "/v1/docs", "/v1/openapi.json")
SEE_ALL = "/v1/docs shows all there are."
EXAMPLE_CALL = "curl http://HOST:PORT{path} -H content-type:application/json -d @my.json"


def _dress_validation(error: Exception, path: str) -> ProblemParts:
    assert isinstance(error, RequestValidationError)
    # The framework puts "body" before each place.
    errors = [{**entry, "loc": entry["loc"][1:]} for entry in error.errors()]
    return invalid(errors, error.body, REQUESTS[path])


def _dress_input(error: Exception, _: str) -> ProblemParts:
    assert isinstance(error, InputError)
    return refused_by_physics(error)


def _dress_not_converged(error: Exception, _: str) -> ProblemParts:
    log.error("not converged: %s", error)
    metrics.NOT_CONVERGED.inc()
    return ProblemParts(NOT_CONVERGED, str(error))


def _dress_left(error: Exception, _: str) -> ProblemParts:
    return ProblemParts(CLIENT_LEFT, "Nobody reads this.")


_DRESS: dict[type[Exception], Callable[[Exception, str], ProblemParts]] = {
    Problem: _dress_problem,
    HTTPException: _dress_framework,
    RequestValidationError: _dress_validation,
    InputError: _dress_input,
    NotConvergedError: _dress_not_converged,
    ClientDisconnect: _dress_left,
}


def _handler(
    dress: Callable[[Exception, str], ProblemParts], *, aside: bool
) -> Callable[[Request, Exception], Response | Awaitable[Response]]:
    """``aside``: in a thread, for what may take long; for all else the way there takes longer."""

    def handle(request: Request, error: Exception) -> Response:
        path = request.url.path
        return problem_response(
            dress(error, path), instance=path, request_id=request.state.request_id
        )

    async def at_once(request: Request, error: Exception) -> Response:
        return handle(request, error)

    return handle if aside else at_once


def _complete_schema(app: FastAPI) -> None:
    """Let the OpenAPI document say what the framework leaves out."""
    framework = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = complete(framework())
        return app.openapi_schema

    app.openapi = openapi
