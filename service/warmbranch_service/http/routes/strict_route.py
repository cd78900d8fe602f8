"""Routes that take JSON and nothing else, parsed strictly."""

from __future__ import annotations

import email.message
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, ClassVar, cast

from fastapi import Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel, ValidationError

from warmbranch_service.contract.errors import LONGEST_ECHO, MALFORMED, NOT_JSON, Problem
from warmbranch_service.contract.fields import JsonSchema
from warmbranch_service.contract.refusals import invalid
from warmbranch_service.contract.strict_json import parse

REMEDY = "Send the header Content-Type: application/json."
METHODS_WITH_BODY = frozenset({"POST", "PUT", "PATCH"})

LONGEST_CONTENT_TYPE = 256
"""Bytes. ``application/json; charset=utf-8`` has 31."""

MOST_ON_LOOP = 8 * 1024
"""Bytes of a body that is read and checked on the event loop: a few milliseconds' work."""


class StrictRequest(Request):
    """A request whose body is read by :func:`parse`, or was read before."""

    checked: BaseModel | None = None

    async def json(self) -> Any:
        """The body, parsed strictly, or what it was found to be."""
        if self.checked is not None:
            return self.checked
        if not hasattr(self, "_parsed"):
            self._parsed = parse(await self.body())
        return self._parsed


def checked(body: bytes, model: type[BaseModel]) -> BaseModel:
    """Parse and check a body; ``Problem`` where it is refused."""
    value = parse(body)
    try:
        return model.model_validate(value)
    except ValidationError as error:
        raise Problem.of(invalid(error.errors(include_url=False), value, model)) from None


class StrictRoute(APIRoute):
    """A route that takes ``application/json`` and nothing else.

    A long body is read where work is done, not on the event loop, which all others wait for.
    """

    most_on_loop: ClassVar[int] = MOST_ON_LOOP

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The framework's handler behind the check of the content type."""
        handler: Callable[[Request], Awaitable[Response]] = super().get_route_handler()

        async def handle(request: Request) -> Response:
            if request.method not in METHODS_WITH_BODY:
                return await handler(request)
            check_content_type(request.headers.get("content-type"))
            check_content_encoding(request.headers.get("content-encoding"))
            strict = StrictRequest(request.scope, request.receive)
            body = await strict.body()
            if not body:
                raise Problem(MALFORMED, "The body is empty. Send a JSON object.")
            if len(body) > self.most_on_loop and self.body_field is not None:
                model = cast("type[BaseModel]", self.body_field.field_info.annotation)
                run = request.app.state.workshop.run
                strict.checked = await run(lambda: checked(body, model), strict)
            else:
                await strict.json()  # here: the framework would dress what this raises as its own
            return await handler(strict)

        return handle


class WeightyRoute(StrictRoute):
    """One whose every body may be a lot to check, however short it is."""

    most_on_loop: ClassVar[int] = 0


def check_content_type(value: str | None) -> None:
    """Refuse what is not declared as JSON in UTF-8."""
    if value == "application/json":
        return  # as nearly everybody writes it
    check_content_type_length(value)
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


def check_content_type_length(value: str | None) -> None:
    """Before it is taken apart, which takes a time that grows as the square of its length."""
    if value is not None and len(value) > LONGEST_CONTENT_TYPE:
        detail = f"The header Content-Type is longer than {LONGEST_CONTENT_TYPE} bytes."
        raise Problem(NOT_JSON, detail)


def check_content_encoding(value: str | None) -> None:
    """Refuse a body that is compressed: how long it is would be known only too late."""
    if value is not None and value.strip().lower() not in ("", "identity"):
        detail = f"The body is declared as compressed, by {value[:LONGEST_ECHO]}."
        raise Problem(NOT_JSON, detail, headers={"accept-encoding": "identity"})


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
