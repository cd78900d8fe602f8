"""Reading a body: JSON and nothing else, no key twice, every failure with its place."""

from __future__ import annotations

import email.message
import json
from collections.abc import Awaitable, Callable, Coroutine
from dataclasses import replace
from typing import Any, ClassVar, cast

from fastapi import Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel, ValidationError

from warmbranch_service.contract.errors import (
    INVALID,
    LONGEST_ECHO,
    MALFORMED,
    NOT_JSON,
    Entry,
    Problem,
)
from warmbranch_service.contract.fields import JsonSchema
from warmbranch_service.contract.plain_text import HALF_A_CHARACTER, first_fault, may_hold_faults
from warmbranch_service.contract.refusals import invalid

LONGEST_CONTENT_TYPE = 256
"""Bytes. ``application/json; charset=utf-8`` has 31."""

MOST_ON_LOOP = 8 * 1024
"""Bytes of a body that is read and checked on the event loop: a few milliseconds' work."""

MOST_KEYS = 1000
"""Of one object; none that is taken has a tenth of it."""

MOST_IN_ALL = {",": 250_000, ":": 50_000}
"""Commas and colons of a body, in strings or not: a sweep takes 100,000 values of a field, and the
longest fit some thousands of keys."""

METHODS_WITH_BODY = frozenset({"POST", "PUT", "PATCH"})


class _Marked(dict[str, Any]):
    """An object that is refused as it stands."""

    refusal: Entry


def parse(body: bytes) -> Any:
    """Parse JSON strictly.

    NaN, Infinity and numbers too large for a double are let through as such, so that the field
    that holds them can be named where it is checked; no field admits them.

    Raises
    ------
    Problem
        ``malformed-json`` where it is not JSON; ``invalid-request`` where a key is repeated.
    """
    any_marked = False

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        nonlocal any_marked
        found = dict(items)
        if len(found) == len(items) <= MOST_KEYS:
            return found
        any_marked = True
        marked = _Marked({} if len(items) > MOST_KEYS else found)
        marked.refusal = _refusal(items)
        return marked

    try:
        text = body.decode("utf-8")
        _refuse_too_many(text)
        value = json.loads(text, object_pairs_hook=pairs)
    except UnicodeDecodeError as error:
        detail = f"Byte {error.start} is not UTF-8. Send the text as UTF-8."
        raise Problem(MALFORMED, detail) from None
    except json.JSONDecodeError as error:
        detail = f"{error.msg} in line {error.lineno}, column {error.colno}."
        raise Problem(MALFORMED, detail) from None
    except RecursionError:
        raise Problem(MALFORMED, "The brackets are nested too deeply.") from None
    except ValueError:  # Python's own limit of digits
        raise Problem(MALFORMED, "A number has too many digits.") from None
    if may_hold_faults(text):
        refuse_what_is_no_text(value)
    if any_marked:
        entry = _first_marked(value, ())
        assert entry is not None, "an object was marked"
        raise Problem(INVALID, entry.sentence(), entries=[entry])
    return value


def _refuse_too_many(text: str) -> None:
    """Refuse what is more than anything that is taken, before it is read."""
    for mark, most in MOST_IN_ALL.items():
        if len(text) > most and (found := text.count(mark)) > most:
            what = "values" if mark == "," else "keys"
            entry = Entry(
                (),
                "too_many_values",
                f"These are some {found} {what}.",
                f"Give at most {most}, in several requests.",
            )
            raise Problem(INVALID, entry.sentence(), entries=[entry])


def _refusal(items: list[tuple[str, Any]]) -> Entry:
    """Why an object is refused; its path leads from the object."""
    if len(items) > MOST_KEYS:
        detail = f"This object has {len(items)} keys."
        return Entry((), "too_many_keys", detail, "Give those that are known here.")
    seen: set[str] = set()
    # The first key that stands for the second time.
    repeated = next(key for key, _ in items if key in seen or seen.add(key))
    return Entry((repeated,), "repeated_key", "This key stands twice.", "Give it once.")


def refuse_what_is_no_text(value: Any) -> None:
    """Refuse half characters and what acts on whoever shows it, in strings and keys.

    Raises
    ------
    Problem
        ``invalid-request``, with the place.
    """
    fault = first_fault(value)
    if fault is None:
        return
    what = "key" if fault.is_key else "text"
    if fault.code == HALF_A_CHARACTER:
        detail, remedy = f"This {what} holds half a character, {fault.character}.", WHOLE_TEXT
    else:
        detail = f"This {what} holds the control character {fault.character}."
        remedy = "Leave it out; text is one line of plain characters."
    path = (*fault.path, fault.text) if fault.is_key else fault.path
    entry = Entry(path, fault.code, detail, remedy, fault.text[:LONGEST_ECHO])
    raise Problem(INVALID, entry.sentence(), entries=[entry])


WHOLE_TEXT = "Send whole Unicode text."


def _first_marked(value: Any, path: tuple[str | int, ...]) -> Entry | None:
    if isinstance(value, _Marked):
        return replace(value.refusal, path=(*path, *value.refusal.path))
    children: Any = ()
    if isinstance(value, dict):
        children = cast("dict[str, Any]", value).items()
    elif isinstance(value, list):
        children = enumerate(cast("list[Any]", value))
    for key, child in children:
        found = _first_marked(child, (*path, key))
        if found is not None:
            return found
    return None


class StrictRequest(Request):
    """A request whose body is read by :func:`parse`, or was read before."""

    checked: BaseModel | None = None

    async def json(self) -> Any:
        """The body, parsed strictly, or what it was found to be."""
        return parse(await self.body()) if self.checked is None else self.checked


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
            return await handler(strict)

        return handle


class WeightyRoute(StrictRoute):
    """One whose every body may be a lot to check, however short it is."""

    most_on_loop: ClassVar[int] = 0


def check_content_type(value: str | None) -> None:
    """Refuse what is not declared as JSON in UTF-8."""
    if value == "application/json":
        return  # as nearly everybody writes it
    if value is not None and len(value) > LONGEST_CONTENT_TYPE:
        # Before it is taken apart, which takes a time that grows as the square of its length.
        detail = f"The header Content-Type is longer than {LONGEST_CONTENT_TYPE} bytes."
        raise Problem(NOT_JSON, detail)
    message = email.message.Message()
    message["content-type"] = value or ""
    kind, charset = message.get_content_type(), message.get_content_charset("utf-8")
    is_json = kind == "application/json" or (
        kind.startswith("application/") and kind.endswith("+json")
    )
    if value is None or not is_json:
        raise Problem(NOT_JSON, f"The body is declared as {value or 'nothing'}, not as JSON.")
    if charset not in ("utf-8", "us-ascii"):
        raise Problem(NOT_JSON, f"The body is declared as {charset}; JSON is UTF-8.")


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
