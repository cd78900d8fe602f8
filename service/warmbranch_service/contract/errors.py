"""One shape for every failure: RFC 9457 problem details.

Problem                 raised anywhere in the service; carries its kind and its entries
KINDS                   every kind of failure: identifier, status, title, meaning
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, NamedTuple

from pydantic import BaseModel, ConfigDict, Field

if TYPE_CHECKING:
    from starlette.responses import Response

from warmbranch_service.contract.plain_text import escaped

PROBLEM_MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "/v1/problems/"
LONGEST_ECHO = 80
MOST_ENTRIES = 20


class Kind(NamedTuple):
    """One kind of failure; ``name`` is the stable end of its ``type``."""

    name: str
    status: int
    title: str
    meaning: str


MALFORMED = Kind(
    "malformed-json", 400, "The body is not JSON.", "Mend the JSON at the place named in detail."
)
BAD_REQUEST = Kind("bad-request", 400, "The request cannot be read.", "See detail.")
UNAUTHORIZED = Kind(
    "api-key-needed",
    401,
    "The service asks for an API key.",
    "Send a key that whoever runs the service has given you, in the header X-API-Key.",
)
NOT_FOUND = Kind("not-found", 404, "There is nothing at this address.", "See /v1/openapi.json.")
WRONG_METHOD = Kind(
    "method-not-allowed",
    405,
    "This address does not take this method.",
    "Use a method that the Allow header names.",
)
NOT_ACCEPTABLE = Kind(
    "not-acceptable",
    406,
    "The answer has no form that the header Accept names.",
    "Leave the header out, or name one of the forms in detail.",
)
TOO_SLOW = Kind(
    "request-too-slow",
    408,
    "The request did not arrive in time.",
    "Send the whole request at once.",
)
TOO_LARGE = Kind("body-too-large", 413, "The body is too large.", "Send less than the limit.")
NOT_JSON = Kind(
    "unsupported-media-type",
    415,
    "The body is not sent as JSON.",
    "Send the header Content-Type: application/json, and the body as it is, not compressed.",
)
INVALID = Kind(
    "invalid-request",
    422,
    "The request holds something impossible.",
    "Each entry of errors names the field, the value, its unit and the remedy.",
)
LIMITED = Kind(
    "too-many-requests",
    429,
    "Too many requests within a minute.",
    "Send the same request again after the time that Retry-After names.",
)
HEAD_TOO_LARGE = Kind(
    "head-too-large", 431, "The request's head is too large.", "Send fewer and shorter headers."
)
INTERNAL = Kind(
    "internal-error",
    500,
    "The service failed.",
    "Not the sender's fault. The request id finds the cause in the service's log.",
)
NOT_CONVERGED = Kind(
    "not-converged",
    500,
    "The solver stopped short of its tolerance.",
    "Not the sender's fault: every admitted case should be solved. Please report the case.",
)
OVERLOADED = Kind(
    "overloaded",
    503,
    "The service is busy.",
    "Send the same request again after the time that Retry-After names.",
)
TIME_LIMIT = Kind(
    "time-limit",
    503,
    "The work took too long and was ended.",
    "Ask for less at once, or send the same request again after the time that Retry-After names.",
)
NOT_READY = Kind(
    "not-ready", 503, "The service is not ready yet.", "Ask again in a moment; start takes seconds."
)
NO_WORKERS = Kind(
    "no-workers",
    503,
    "The machines that solve sweeps cannot be reached.",
    "Send the same request again later; if it stays so, tell whoever runs the service.",
)

CLIENT_LEFT = Kind("client-left", 499, "The client left.", "Stands in logs only.")
"""Of work that nobody waits for any more: never answered to anybody, so not among ``KINDS``."""

KINDS = {
    kind.name: kind
    for kind in (
        MALFORMED,
        BAD_REQUEST,
        UNAUTHORIZED,
        NOT_FOUND,
        WRONG_METHOD,
        NOT_ACCEPTABLE,
        TOO_SLOW,
        TOO_LARGE,
        NOT_JSON,
        INVALID,
        LIMITED,
        HEAD_TOO_LARGE,
        INTERNAL,
        NOT_CONVERGED,
        OVERLOADED,
        TIME_LIMIT,
        NOT_READY,
        NO_WORKERS,
    )
}
"""Every kind of failure, by the end of its ``type``."""


class ProblemEntry(BaseModel):
    """One thing that is wrong with the request."""

    model_config = ConfigDict(extra="forbid")

    pointer: str = Field(
        description="JSON Pointer into the request body; empty for the whole.",
        examples=["/case/branch/wall_thickness_mm"],
    )
    field: str = Field(
        description="The same place, as it is written in most languages.",
        examples=["case.branch.wall_thickness_mm"],
    )
    value: str | float | int | bool | list[Any] | None = Field(
        description="What was given; null for objects, long lists and what is missing.",
        examples=[30.0],
        json_schema_extra={"x-unit": "that which unit names", "x-range": "any"},
    )
    unit: str | None = Field(
        description="Unit of the field; null where it has none.", examples=["mm"]
    )
    detail: str = Field(
        description="What is wrong.", examples=["30 mm lies outside what is admitted."]
    )
    remedy: str = Field(
        description="What to give instead.", examples=["Give a number from 0.5 to 5 mm."]
    )
    code: str = Field(description="Stable identifier of what is wrong.", examples=["out_of_range"])


class ProblemDetails(BaseModel):
    """RFC 9457 problem details: the one shape of every failure."""

    model_config = ConfigDict(extra="forbid")

    type: str = Field(
        description="Stable identifier, and where to read about it.",
        examples=["/v1/problems/invalid-request"],
    )
    title: str = Field(
        description="The kind of failure, always the same for one type.",
        examples=["The request holds something impossible."],
    )
    status: int = Field(
        description="HTTP status.",
        examples=[422],
        json_schema_extra={"x-unit": "1", "minimum": 400, "maximum": 599},
    )
    detail: str = Field(
        description="What happened this time.",
        examples=["case.branch.wall_thickness_mm: 30 mm lies outside what is admitted."],
    )
    instance: str = Field(description="The address that was asked.", examples=["/v1/steady"])
    request_id: str = Field(
        description="Also in the X-Request-ID header.",
        examples=["0f5e9d3c6a7b4c2f8e1d2a3b4c5d6e7f"],
    )
    errors: list[ProblemEntry] = Field(
        description="What is wrong, one by one; may be empty.",
        json_schema_extra={"maxItems": MOST_ENTRIES},
    )


@dataclass(frozen=True)
class Entry:
    """One thing that is wrong, where ``path`` leads through the body."""

    path: tuple[str | int, ...]
    code: str
    detail: str
    remedy: str
    value: object = None
    unit: str | None = None

    @property
    def pointer(self) -> str:
        """JSON Pointer (RFC 6901)."""
        parts = (str(part).replace("~", "~0").replace("/", "~1") for part in self.path)
        return "".join(f"/{part}" for part in parts)

    @property
    def field(self) -> str:
        """Dotted path with indices in brackets."""
        text = ""
        for part in self.path:
            text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else part
        return text

    def sentence(self) -> str:
        """The whole entry as text for people."""
        place = f"{self.field}: " if self.path else ""
        return f"{place}{self.detail} {self.remedy}"

    def as_json(self) -> dict[str, Any]:
        """The entry as it leaves."""
        return {
            "pointer": clean(self.pointer),
            "field": clean(self.field),
            "value": shown(self.value),
            "unit": self.unit,
            "detail": clean(self.detail),
            "remedy": clean(self.remedy),
            "code": self.code,
        }


@dataclass
class ProblemParts:
    """A failure before it is dressed for HTTP."""

    kind: Kind
    detail: str
    entries: Sequence[Entry] = ()
    headers: Mapping[str, str] = field(default_factory=dict[str, str])


class Problem(Exception):
    """A failure with its kind; no framework's, since the command line raises it, too."""

    def __init__(
        self,
        kind: Kind,
        detail: str,
        *,
        entries: Sequence[Entry] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.parts = ProblemParts(kind, detail, entries, headers or {})

    @property
    def errors(self) -> Sequence[Entry]:
        """What is wrong, one by one."""
        return self.parts.entries

    def __str__(self) -> str:
        return "\n".join(entry.sentence() for entry in self.errors) or self.parts.detail

    @classmethod
    def of(cls, parts: ProblemParts) -> Problem:
        """The exception for a failure that is already put together."""
        return cls(parts.kind, parts.detail, entries=parts.entries, headers=parts.headers)


def problem_of_status(status: int, detail: str, headers: Mapping[str, str] | None) -> ProblemParts:
    """Dress a framework's own failure."""
    named = {kind.status: kind for kind in (BAD_REQUEST, NOT_FOUND, WRONG_METHOD, TOO_LARGE)}
    kind = named.get(status)
    if kind is None:
        phrase = HTTPStatus(status).phrase
        kind = Kind(phrase.lower().replace(" ", "-"), status, f"{phrase}.", "See detail.")
    return ProblemParts(kind, detail, headers=headers or {})


def problem_json(parts: ProblemParts, *, instance: str, request_id: str) -> dict[str, Any]:
    """The body of a failure."""
    return {
        "type": TYPE_PREFIX + parts.kind.name,
        "title": parts.kind.title,
        "status": parts.kind.status,
        "detail": clean(parts.detail),
        "instance": clean(instance),
        "request_id": request_id,
        "errors": [entry.as_json() for entry in parts.entries],
    }


def problem_response(parts: ProblemParts, *, instance: str, request_id: str) -> Response:
    """The failure as a response."""
    from starlette.responses import Response  # late: the command line does without HTTP

    body = problem_json(parts, instance=instance, request_id=request_id)
    return Response(
        json.dumps(body, ensure_ascii=False, allow_nan=False).encode(),
        status_code=parts.kind.status,
        headers=dict(parts.headers),
        media_type=PROBLEM_MEDIA_TYPE,
    )


def shown(value: object) -> Any:
    """What was given, fit to be sent back: short, and free of NaN."""
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, int):
        return (
            value if abs(value) < 2**53 else clean(f"{value:.6e}" if _is_float(value) else "huge")
        )
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if isinstance(value, str):
        return clean(value)
    return [] if value == [] else None


def clean(text: str) -> str:
    """Text that can be written anywhere, cut to a sane length only by who calls."""
    return escaped(text)


def _is_float(value: int) -> bool:
    try:
        float(value)
    except OverflowError:
        return False
    return True
