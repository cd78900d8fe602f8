"""Reading a body: JSON and nothing else, no key twice, every failure with its place."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any, cast

from warmbranch_service.contract.errors import (
    INVALID,
    LONGEST_ECHO,
    MALFORMED,
    Entry,
    Problem,
)
from warmbranch_service.contract.plain_text import HALF_A_CHARACTER, first_fault, may_hold_faults

MOST_KEYS = 1000
"""Of one object; none that is taken has a tenth of it."""

MOST_IN_ALL = {",": 250_000, ":": 50_000}
"""Commas and colons of a body, in strings or not: a sweep takes 100,000 values of a field, and the
longest fit some thousands of keys."""


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
        if re.fullmatch("[0-9],[0-9]", error.doc[max(0, error.pos - 2) : error.pos + 1]):
            detail += ' A decimal comma? JSON has a point: 48.3; or write a string: "48,3 mm".'
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
