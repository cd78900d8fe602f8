"""What both clients share: the routes, the request that is sent, the reading of what comes back.

Written here: a generated client (the tests make one) neither asks a busy service again as it wishes
nor reads a sweep line by line as it comes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import httpx2
from pydantic import BaseModel, ValidationError

from warmbranch_service.client.failures import ServiceProblem, UnexpectedAnswer, Unreachable
from warmbranch_service.client.retrying import Retrying, seconds_of
from warmbranch_service.contract.errors import PROBLEM_MEDIA_TYPE, ProblemDetails
from warmbranch_service.fit.answer_schema import FitAnswer
from warmbranch_service.http.passage.gate import API_KEY_HEADER
from warmbranch_service.http.routes.health import Health, Ready
from warmbranch_service.http.routes.reference import ReferenceAnswer
from warmbranch_service.learn.answer_schema import LearnAnswer
from warmbranch_service.length.answer_schema import LengthAnswer
from warmbranch_service.listen.answer_schema import ListenAnswer
from warmbranch_service.steady.answer_schema import SteadyAnswer
from warmbranch_service.sweep.answer_schema import SweepLine
from warmbranch_service.version import MODEL_VERSION
from warmbranch_service.warmup.answer_schema import WarmupAnswer

DEFAULT_ADDRESS = "http://127.0.0.1:8000"
CONNECT_SECONDS = 5.0
ANSWER_SECONDS = 60.0
BUSY = 503
JSON_CONTENT = {"content-type": "application/json"}
_BROKEN = (httpx2.NetworkError, httpx2.RemoteProtocolError)
"""The line broke or was never there: a service that restarts looks like this."""

Answer = TypeVar("Answer", bound=BaseModel)
Json = Mapping[str, Any]


@dataclass(frozen=True)
class Route(Generic[Answer]):
    """One address of the service."""

    method: str
    path: str
    answer: type[Answer]
    asks_again: bool = True


STEADY = Route("POST", "/v1/steady", SteadyAnswer)
FIT = Route("POST", "/v1/fit", FitAnswer)
LEARN = Route("POST", "/v1/learn", LearnAnswer)
LENGTH = Route("POST", "/v1/length", LengthAnswer)
LISTEN = Route("POST", "/v1/listen", ListenAnswer)
WARMUP = Route("POST", "/v1/warmup", WarmupAnswer)
SWEEP = Route("POST", "/v1/sweep", SweepLine)
REFERENCE = Route("GET", "/v1/reference", ReferenceAnswer)
# Whoever asks these wants to know how it is now, not in a while.
HEALTH = Route("GET", "/v1/health", Health, asks_again=False)
READY = Route("GET", "/v1/ready", Ready, asks_again=False)


ACCEPT = "application/json, application/x-ndjson"


def settings_of(
    address: str, timeout: float, api_key: str | None, headers: Mapping[str, str] | None
) -> dict[str, Any]:
    """Arguments that the HTTP clients of both kinds take alike.

    Raises
    ------
    ValueError
        If the address is none.
    """
    if not address.startswith(("http://", "https://")):
        raise ValueError(f"{address!r} is no address. Give one as {DEFAULT_ADDRESS!r}.")
    own = {"accept": ACCEPT, "user-agent": f"warmbranch/{MODEL_VERSION}"}
    if api_key is not None:
        own[API_KEY_HEADER] = api_key
    return {
        "base_url": address,
        "timeout": httpx2.Timeout(timeout, connect=min(timeout, CONNECT_SECONDS)),
        "headers": {**own, **(headers or {})},
    }


def content_of(request: BaseModel | Json) -> bytes:
    """The body that is sent; of a model, only what was set, so that defaults are the service's."""
    if isinstance(request, BaseModel):
        return request.model_dump_json(exclude_unset=True).encode()
    # Not json.dumps: it would write NaN, which is no JSON.
    return httpx2.Request("POST", DEFAULT_ADDRESS, json=request).read()


def parts_of(
    request: BaseModel | Json, before: Sequence[bytes], after: Sequence[bytes]
) -> tuple[bytes, dict[str, str]]:
    """The body and headers of a request with recordings, as multipart/form-data (RFC 7578)."""
    parts: list[tuple[str, tuple[str | None, bytes, str]]] = [
        ("request", (None, content_of(request), "application/json"))
    ]
    for side, recordings in (("before", before), ("after", after)):
        for number, content in enumerate(recordings, start=1):
            parts.append((side, (f"{side}{number}", content, "application/octet-stream")))
    sent = httpx2.Request("POST", DEFAULT_ADDRESS, files=parts)
    return sent.read(), {"content-type": sent.headers["content-type"]}


def read(route: Route[Answer], response: httpx2.Response) -> Answer:
    """The answer as a model.

    Fields that this client does not know are left out, so that it understands a newer service.

    Raises
    ------
    ServiceProblem
        The service answered with a failure.
    UnexpectedAnswer
        It is neither an answer nor a failure of this service.
    """
    if response.status_code != 200:
        raise problem_of(response)
    return read_text(route, response.content, response)


def read_text(route: Route[Answer], text: str | bytes, response: httpx2.Response) -> Answer:
    """A part of the answer as a model; fails as :func:`read`."""
    try:
        return route.answer.model_validate_json(text, extra="ignore")
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the whole"
        raise UnexpectedAnswer(
            f"{response.url} answered something that is no {route.answer.__name__}: "
            f"{place}: {first['msg']}."
        ) from None


def problem_of(response: httpx2.Response) -> Exception:
    """The failure that an answer other than 200 is."""
    kind = response.headers.get("content-type", "").partition(";")[0].strip()
    if kind == PROBLEM_MEDIA_TYPE:
        try:
            details = ProblemDetails.model_validate_json(response.content, extra="ignore")
        except ValidationError:
            pass
        else:
            return ServiceProblem(details, response.headers)
    return UnexpectedAnswer(
        f"{response.url} answered {response.status_code} with {kind or 'no content type'}, "
        "which is no failure of this service."
    )


class Attempts:
    """One request over its attempts: whether to ask again, and after how long."""

    def __init__(self, retrying: Retrying, route: Route[Any]) -> None:
        self._retrying = retrying if route.asks_again else Retrying(attempts=1)
        self._number = 0
        self._waited = 0.0

    def pause_after(self, outcome: httpx2.Response | httpx2.RequestError) -> float | None:
        """Seconds to wait before asking again; None when the outcome is the last word."""
        self._number += 1
        if isinstance(outcome, httpx2.Response):
            if outcome.status_code != BUSY:
                return None
            wish = seconds_of(outcome.headers.get("retry-after"))
        elif isinstance(outcome, _BROKEN):
            wish = None
        else:
            return None  # the caller's own time limit, say
        pause = self._retrying.wait(self._number, self._waited, wish)
        self._waited += pause or 0.0
        return pause

    def unreachable(self, error: httpx2.RequestError) -> Unreachable:
        """The failure to raise when there never was an answer."""
        what = "took too long" if isinstance(error, httpx2.TimeoutException) else "cannot be had"
        why = str(error) or type(error).__name__
        return Unreachable(f"{error.request.url} {what} ({why}; attempt {self._number}).")
