"""Lengths as people write them: ``1 7/8 in``, ``3' 4"``, ``16 ga``. All exact in inches.

What is read here is a regular language, so that the JSON schema can say it too.
"""

from __future__ import annotations

import re

GAUGE_IN = {
    8: 0.165, 9: 0.148, 10: 0.134, 11: 0.120, 12: 0.109, 13: 0.095, 14: 0.083, 15: 0.072,
    16: 0.065, 17: 0.058, 18: 0.049, 19: 0.042, 20: 0.035, 21: 0.032, 22: 0.028,
}  # fmt: skip
"""Walls of tube by gauge, in inches: Birmingham wire gauge, as tube is sold by. From memory."""

_NUMBER = r"(?:[0-9]{1,9}(?:[.,][0-9]{0,9})?|[.,][0-9]{1,9})"
_FRACTION = r"(?:[0-9]{1,6}(?: +|-))?[0-9]{1,4} ?/ ?[1-9][0-9]{0,3}"
_FEET = r"(?:'|[fF][tT]|[fF][eE][eE][tT]|[fF][oO][oO][tT])"
_INCHES = r"(?:\"|''|[iI][nN](?:[cC][hH](?:[eE][sS])?)?)"
_MILLIMETRES = "[mM][mM]"
_GAUGE = r"(?:[89]|1[0-9]|2[0-2]) *(?:[gG][aA](?:[uU][gG][eE])?|[bB][wW][gG])"

PATTERN = (
    rf"{_GAUGE}"
    rf"|{_FRACTION} *(?:{_INCHES}|{_FEET}|{_MILLIMETRES})"
    rf"|{_NUMBER} *{_FEET} *(?:(?:{_FRACTION}|{_NUMBER}) *{_INCHES}?)?"
)
"""What is understood beside a number and a unit; for ECMA 262 as for Python."""

_WRITTEN = re.compile(rf" *(?:{PATTERN}) *")
_PARTS = re.compile(
    rf" *(?P<feet>{_NUMBER}) *{_FEET} *(?:(?P<inches>{_FRACTION}|{_NUMBER}) *{_INCHES}?)? *"
)
_ONE = re.compile(
    rf" *(?P<value>{_FRACTION}) *(?:(?P<feet>{_FEET})|(?P<mm>{_MILLIMETRES})|{_INCHES}) *"
)


def inches(text: str) -> float | None:
    """The length in inches, or None where it is not written in any of these ways.

    >>> inches("1 7/8 in"), inches("3' 4\\""), inches("16 ga"), inches("48.3 mm")
    (1.875, 40.0, 0.065, None)
    """
    if _WRITTEN.fullmatch(text) is None:
        return None
    one = _ONE.fullmatch(text)
    if one is not None:
        value = _value(one["value"])
        return value * 12 if one["feet"] else value / 25.4 if one["mm"] else value
    both = _PARTS.fullmatch(text)
    if both is not None:
        return _value(both["feet"]) * 12 + (_value(both["inches"]) if both["inches"] else 0.0)
    return GAUGE_IN[int(re.sub(r"[^0-9]", "", text))]


def _value(text: str) -> float:
    """Of a number, or of a whole number and a fraction."""
    if "/" not in text:
        return float(text.replace(",", "."))
    *whole, fraction = re.sub(r" *(/) *", r"\1", text).replace("-", " ").split()
    over, _, under = fraction.partition("/")
    return sum(map(float, whole)) + float(over) / float(under)
