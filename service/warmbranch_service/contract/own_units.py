"""Sentences that speak of mm and °C, told in inches and °F as well, for who measures in those.

The sentences of an answer stay as they are, in JSON, CSV and for programs; this is for a terminal.
"""

from __future__ import annotations

import re
from collections.abc import Generator
from contextlib import contextmanager
from contextvars import ContextVar

_BOTH: ContextVar[bool] = ContextVar("both units", default=False)

_NUMBER = r"[-+−]?\d+(?:\.\d+)?"
_QUANTITY = re.compile(
    rf"(?P<first>{_NUMBER})(?P<others>(?:\s?(?:to|and|×|,)\s?{_NUMBER})*) "
    r"(?P<unit>mm|°C|K|m/s)(?![\w²³/])(?P<more> more\b)?"
)
_OTHERS = re.compile(
    r'"\s*[+-]?[\d.,/\'\s]+(?:in|inch|inches|ft|ga|gauge|mph|[°]?F|degF|lb/h|psi|\\")\s*"'
    r'|\d\s*\'\s*\d*|\d\s*\\"',
    re.IGNORECASE,
)


def measures_in_inches(request: bytes) -> bool:
    """Whether a request's own strings are in inches, °F or miles."""
    return _OTHERS.search(request.decode("utf-8", errors="replace")) is not None


@contextmanager
def both_units(wanted: bool) -> Generator[None]:
    """Within it, sentences of a report tell inches and °F beside mm and °C."""
    token = _BOTH.set(wanted)
    try:
        yield
    finally:
        _BOTH.reset(token)


def told(sentence: str) -> str:
    """The sentence as it is, or with both units where ``both_units`` asks for them."""
    return in_both(sentence) if _BOTH.get() else sentence


def in_both(sentence: str) -> str:
    """Every length, temperature and speed followed by what it is in inches, °F or mph.

    >>> in_both("Build it 1301 mm long; its gas is between 37 and 310 °C.")
    'Build it 1301 mm (51.2 in) long; its gas is between 37 and 310 °C (99 and 590 °F).'
    >>> in_both("allow 60 °C more for full load; 12 K above")
    'allow 60 °C (110 °F) more for full load; 12 K (22 °F) above'
    """
    return _QUANTITY.sub(_with_other, sentence)


def _with_other(found: re.Match[str]) -> str:
    unit, more = found["unit"], found["more"] or ""
    numbers = found["first"] + found["others"]
    factor, offset, name = _TURNED["K" if unit == "°C" and more else unit]
    other = re.sub(_NUMBER, lambda one: _turned(one[0], factor, offset), numbers)
    return f"{numbers} {unit} ({other} {name}){more}"


_TURNED = {
    "mm": (1 / 25.4, 0.0, "in"),
    "m/s": (1 / 0.44704, 0.0, "mph"),
    "K": (1.8, 0.0, "°F"),
    "°C": (1.8, 32.0, "°F"),
}
"""Unit of a sentence to factor, offset and name of the other."""


def _turned(text: str, factor: float, offset: float) -> str:
    value = float(text.replace("−", "-")) * factor + offset
    sign = "+" if text.startswith("+") else ""
    if offset:
        return f"{value:.0f}"
    digits = 2 if abs(value) < 1 or factor > 1 else 3
    return f"{sign}{float(f'{value:.{digits}g}'):g}"
