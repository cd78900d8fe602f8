"""What is asked, and allowed for, where nobody told how long the engine had run."""

from __future__ import annotations

from warmbranch.fit.haste import HASTY
from warmbranch_service.contract.caution import Caution

QUESTION = "How many minutes had the engine run from cold when you read and listened?"

MINUTES = HASTY / 60


def message(lag_percent: float, chance: float, held_back: float) -> str:
    """Why the answer holds back, and what telling the time gives; length in mm."""
    saw = ""
    if held_back > 0:
        saw = (
            f", and the saw keeps back {held_back:.0f} mm, which may come off too if the branch "
            "was warm"
        )
    return (
        f"{QUESTION} Nobody told. {MINUTES:.0f} minutes after a cold start this branch sounds "
        f"{lag_percent:.1f} % below its warm tone, and whoever takes that for the warm one cuts "
        f"too much. The chance that it was read so early is taken to be {chance * 100:.0f} %: "
        f'the interval reaches higher for it{saw}. Give time_s, as in "25 min".'
    )


def to_the_saw(held_back: float) -> str:
    """The same beside the advice on the saw; length in mm."""
    if held_back <= 0:
        return ""
    return (
        f" {held_back:.0f} mm are kept back because nobody told how many minutes the engine had "
        "run when it was read and heard: give time_s, and if it was warm they may come off too."
    )


def cautions(told: str | None) -> list[Caution]:
    """The question, where it is open, by its message."""
    return [] if told is None else [Caution(code="time_untold", message=told, field="time_s")]
