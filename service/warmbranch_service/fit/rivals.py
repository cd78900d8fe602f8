"""The usual slips as questions to whoever wrote the readings, and what decides."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple, Protocol, TypeVar

AS_LIKELY = 1.0
"""Odds of a slip from which nothing is advised to the saw before it is settled."""

WITHHELD = "Nothing is to be cut before that is settled."


class Told(NamedTuple):
    """How a slip is told."""

    sentence: str
    what_to_read: str


RIVALS = {
    "fahrenheit": Told(
        "As degrees Fahrenheit these readings fit better: did it show °F?",
        "Look at the display's unit, or read something whose temperature you know, your hand.",
    ),
    "celsius": Told(
        "As degrees Celsius these readings fit better: did it show °C?",
        "Look at the display's unit, or read something whose temperature you know, your hand.",
    ),
    "inches": Told(
        "With positions in inches these readings fit better: did the tape show inches?",
        "Measure the place of one reading again, in millimetres from the mouth.",
    ),
    "from_cap": Told(
        "Counted from the cap these readings fit better: were the places measured from the cap?",
        "Read one spot near the mouth again: it is the hottest.",
    ),
    "swapped_columns": Told(
        "With the columns changed round these readings fit better: are places and temperatures in "
        "each other's columns?",
        "Look at the first line of the table.",
    ),
    "wrong_end": Told(
        "In the reverse order these readings fit better: does the list of temperatures begin at "
        "the other end?",
        "Read one spot near the mouth again: it is the hottest.",
    ),
    "bare_metal": Told(
        "As readings of bare metal these fit better: is the spot really painted, or the skin "
        "really as dull as said?",
        "Read a patch of matt black paint beside one of the spots.",
    ),
    "wind_in_front": Told(
        "With the half at the mouth in the wind and the other one sheltered these readings fit "
        "better: does air blow on part of the branch?",
        "Read both halves again in still air.",
    ),
    "wind_behind": Told(
        "With the half at the cap in the wind and the other one sheltered these readings fit "
        "better: does air blow on part of the branch?",
        "Read both halves again in still air.",
    ),
    "not_warm": Told(
        "It looks as if the branch was still warming: had the engine run for a quarter of an hour?",
        "Read the spot nearest to the cap twice, five minutes apart: a warm one stays; and give "
        "time_s.",
    ),
}
"""By the names of ``fit.rivals``."""


class _Weighed(Protocol):
    @property
    def odds(self) -> float: ...


_Rival = TypeVar("_Rival", bound=_Weighed)


def first_to_settle(rivals: Iterable[_Rival]) -> _Rival | None:
    """The likeliest slip, of rivals by falling odds, that is as likely as what was written."""
    return next((one for one in rivals if one.odds >= AS_LIKELY), None)


def to_settle(name: str) -> str:
    """What comes before all that follows from the readings as they are written."""
    return f"Settle a slip first. {RIVALS[name].sentence} {RIVALS[name].what_to_read}"
