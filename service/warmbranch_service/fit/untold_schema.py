"""What an answer of ``POST /v1/fit`` allows for because nobody told it."""

from __future__ import annotations

from pydantic import Field

from warmbranch.fit.haste import HASTY, SHARE
from warmbranch.fit.standing import DECIDED
from warmbranch_service.contract.fields import AnswerModel, in_unit
from warmbranch_service.fit import read_standing, time_untold

MOST_ODDS = 1e6
"""What is told of odds that are beyond all doubt."""


class TimeUntold(AnswerModel):
    """What is allowed for because nobody told how long the engine had run."""

    question: str = Field(
        description="To whoever read and listened.", examples=[time_untold.QUESTION]
    )
    early_s: float = Field(
        description="Time after a cold start that is allowed for.",
        examples=[HASTY],
        json_schema_extra=in_unit("s"),
    )
    tone_low_percent: float = Field(
        description="By how much the tone of this branch then lies below its warm one; to 0.1.",
        examples=[2.1],
        json_schema_extra=in_unit("%"),
    )
    chance: float = Field(
        description=f"That it was so early, {SHARE:g} unless the data speak against it; to 0.01. "
        "prediction, calibration and trim allow for it.",
        examples=[0.18],
        json_schema_extra=in_unit("1"),
    )
    held_back_mm: float | None = Field(
        description="By about how much trim.cut_now_mm grows once time_s tells that the branch was "
        "warm; whole millimetres. Null without a trim.",
        examples=[9],
        json_schema_extra=in_unit("mm"),
    )
    message: str = Field(
        description="The same in plain words.", examples=[time_untold.message(2.1, 0.18, 9.0)]
    )


class ReadStanding(AnswerModel):
    """What is made of it that nobody told in which air the skin was read."""

    question: str = Field(description="To whoever read.", examples=[read_standing.QUESTION])
    odds: float = Field(
        description="How much likelier it is, by what was read and heard, that the settled "
        "readings were taken standing still than in the air of the case; two digits, from "
        f"{1 / MOST_ODDS:g} to {MOST_ODDS:g}.",
        examples=[12],
        json_schema_extra=in_unit("1"),
    )
    chance: float = Field(
        description="The same as a chance; to 0.01. prediction, calibration and trim allow for "
        f"both, each by its chance; where one has less than {DECIDED:g}, for the other alone.",
        examples=[0.92],
        json_schema_extra=in_unit("1"),
    )
    message: str = Field(
        description="The same in plain words.",
        examples=[read_standing.message(12, 8.0)],
    )


class ReadIdling(AnswerModel):
    """What is made of it that nobody told whether the engine idled while the skin was read."""

    question: str = Field(description="To whoever read.", examples=[read_standing.IDLING])
    chance: float = Field(
        description="That it idled, by what was read and heard; to 0.01. prediction, calibration "
        "and trim allow for it.",
        examples=[0.62],
        json_schema_extra=in_unit("1"),
    )
    message: str = Field(
        description="The same in plain words.", examples=[read_standing.idling_message(0.62)]
    )
