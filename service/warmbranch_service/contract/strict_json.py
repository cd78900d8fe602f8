"""Reading a body: JSON and nothing else, no key twice, every failure with its place."""

from __future__ import annotations

import json
from typing import Any, cast

from warmbranch_service.contract.errors import INVALID, MALFORMED, Entry, Problem


class _RepeatedKeys(dict[str, Any]):
    """An object in which a key stands twice."""

    repeated: str


def parse(body: bytes) -> Any:
    """Parse JSON strictly.

    NaN, Infinity and numbers too large for a double are let through as such, so that the field
    that holds them can be named where it is checked; no field admits them.

    Raises
    ------
    Problem
        ``malformed-json`` where it is not JSON; ``invalid-request`` where a key is repeated.
    """
    any_repeated = False

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        nonlocal any_repeated
        found = dict(items)
        if len(found) == len(items):
            return found
        any_repeated = True
        marked = _RepeatedKeys(found)
        seen: set[str] = set()
        # The first key that stands for the second time.
        marked.repeated = next(key for key, _ in items if key in seen or seen.add(key))
        return marked

    try:
        value = json.loads(body.decode("utf-8"), object_pairs_hook=pairs)
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
    if any_repeated:
        path = _first_repeated(value, ())
        entry = Entry(path, "repeated_key", "This key stands twice.", "Give it once.")
        raise Problem(INVALID, entry.sentence(), entries=[entry])
    return value


def _first_repeated(value: Any, path: tuple[str | int, ...]) -> tuple[str | int, ...]:
    if isinstance(value, _RepeatedKeys):
        return (*path, value.repeated)
    children: Any = ()
    if isinstance(value, dict):
        children = cast("dict[str, Any]", value).items()
    elif isinstance(value, list):
        children = enumerate(cast("list[Any]", value))
    for key, child in children:
        found = _first_repeated(child, (*path, key))
        if found:
            return found
    return ()
