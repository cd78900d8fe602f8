"""Text that may reach a message, a log, a header or a file: whole characters, none that acts.

Half a character cannot be written as UTF-8; a control character moves the cursor of a terminal or
ends a line of a file; a bidirectional control shows a text in another order than it is read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, NamedTuple, cast

HALF_A_CHARACTER, CONTROL_CHARACTER = "not_unicode", "control_character"

_ACTING = (
    "\x7f-\x9f"  # DEL, C1
    "\u2028\u2029"  # ends of lines and paragraphs
    "\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069"  # bidirectional controls (UAX 9)
)
_FAULT = re.compile(f"[\x00-\x1f{_ACTING}\ud800-\udfff]")  # C0 has ANSI's escape, and tabs
_PERHAPS = re.compile(rf"\\[bfnrtu]|[{_ACTING}]")
"""In JSON as it is sent: the only ways in which such a character can stand in a string. Those of
C0 are no JSON there as they are."""


class Fault(NamedTuple):
    """A text that is refused.

    Parameters
    ----------
    path : tuple of keys and indices
        Where it stands; of a key, the object that holds it.
    code : str
    character : str
        The first one that is refused, as U+001B.
    text : str
        The whole, escaped.
    is_key : bool
    """

    path: tuple[str | int, ...]
    code: str
    character: str
    text: str
    is_key: bool


def escaped(text: str) -> str:
    """The text with what is refused written as ``\\u001b``."""
    return _FAULT.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def is_plain(text: str) -> bool:
    """Whether nothing of it is refused."""
    return _FAULT.search(text) is None


def may_hold_faults(json_text: str) -> bool:
    """Whether a string of a JSON text may be refused, told without reading it."""
    return _PERHAPS.search(json_text) is not None


def first_fault(value: Any) -> Fault | None:
    """The first text that is refused in a parsed JSON value."""
    for path, text, is_key in _texts(value):
        found = _FAULT.search(text)
        if found is not None:
            half = "\ud800" <= found[0] <= "\udfff"
            code = HALF_A_CHARACTER if half else CONTROL_CHARACTER
            return Fault(path, code, f"U+{ord(found[0]):04X}", escaped(text), is_key)
    return None


def _texts(value: Any) -> Iterator[tuple[tuple[str | int, ...], str, bool]]:
    """Every string and key, in the order of the text, with its place; not by recursion."""
    waiting: list[tuple[tuple[str | int, ...], Any]] = [((), value)]
    while waiting:
        path, here = waiting.pop()
        if isinstance(here, str):
            yield path, here, False
        elif isinstance(here, list):
            entries = cast("list[Any]", here)
            waiting.extend(((*path, i), entries[i]) for i in reversed(range(len(entries))))
        elif isinstance(here, dict):
            held = cast("dict[str, Any]", here)
            for key in held:
                yield path, key, True
            waiting.extend(((*path, key), held[key]) for key in reversed(held))
