"""Routes that take JSON and nothing else, parsed strictly."""

from __future__ import annotations

import email.message
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any

from fastapi import Request, Response
from fastapi.routing import APIRoute

from warmbranch_service.contract.errors import MALFORMED, NOT_JSON, Problem
from warmbranch_service.contract.fields import JsonSchema
from warmbranch_service.contract.strict_json import parse

REMEDY = "Send the header Content-Type: application/json."
METHODS_WITH_BODY = frozenset({"POST", "PUT", "PATCH"})


class StrictRequest(Request):
    """A request whose body is read by :func:`parse`."""

    async def json(self) -> Any:
        """The body, parsed strictly, once."""
        if not hasattr(self, "_parsed"):
            self._parsed = parse(await self.body())
        return self._parsed


class StrictRoute(APIRoute):
    """A route that takes ``application/json`` and nothing else."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The framework's handler behind the check of the content type."""
        handler: Callable[[Request], Awaitable[Response]] = super().get_route_handler()

        async def handle(request: Request) -> Response:
            if request.method not in METHODS_WITH_BODY:
                return await handler(request)
            check_content_type(request.headers.get("content-type"))
            strict = StrictRequest(request.scope, request.receive)
            if not await strict.body():
                raise Problem(MALFORMED, "The body is empty. Send a JSON object.")
            await strict.json()  # here: the framework would dress what this raises as its own
            return await handler(strict)

        return handle


def check_content_type(value: str | None) -> None:
    """Refuse what is not declared as JSON in UTF-8."""
    if value == "application/json":
        return  # as nearly everybody writes it
    message = email.message.Message()
    message["content-type"] = value or ""
    kind, charset = message.get_content_type(), message.get_content_charset("utf-8")
    is_json = kind == "application/json" or (
        kind.startswith("application/") and kind.endswith("+json")
    )
    if value is None or not is_json:
        raise Problem(
            NOT_JSON, f"The body is declared as {value or 'nothing'}, not as JSON. {REMEDY}"
        )
    if charset not in ("utf-8", "us-ascii"):
        raise Problem(NOT_JSON, f"The body is declared as {charset}; JSON is UTF-8. {REMEDY}")


def problem_responses(*statuses: int) -> dict[int | str, JsonSchema]:
    """OpenAPI entries for failures, all of one shape."""
    reference = {"schema": {"$ref": "#/components/schemas/ProblemDetails"}}
    return {
        status: {
            "description": _WHEN[status],
            "content": {"application/problem+json": reference},
        }
        for status in statuses
    }


_WHEN = {
    400: "The body is not JSON.",
    404: "There is nothing at this address.",
    406: "The header Accept names no form that this answer has.",
    413: "The body is too large.",
    415: "The body is not sent as JSON.",
    422: "The request holds something impossible; errors says what and where.",
    500: "The service failed.",
    503: "The service is busy or not ready.",
}
