"""What ``POST /v1/learn`` gives."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from warmbranch_service.case.calibration import Calibration
from warmbranch_service.case.shop import JobOutcome
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.fields import AnswerModel, in_unit
from warmbranch_service.contract.whole_answer import WholeAnswer
from warmbranch_service.steady.answer_schema import Levels

FORM: Literal[1] = 1
Pair = tuple[float, float]


class HeldOut(AnswerModel):
    """What all other jobs say of one job's tone, beside what was heard there."""

    heard_rpm: float | None = Field(
        description="As heard; to 0.1. Null without an engine.", json_schema_extra=in_unit("rpm")
    )
    heard_Hz: float = Field(description="The same tone; to 0.01.", json_schema_extra=in_unit("Hz"))
    from_others_rpm: Levels | None = Field(
        description="Where the others say that it is heard, the ear's error with it; to 0.1. Null "
        "without an engine.",
        json_schema_extra=in_unit("rpm"),
    )
    from_others_Hz: Levels = Field(
        description="The same as a tone; to 0.01.", json_schema_extra=in_unit("Hz")
    )
    untuned_Hz: Levels = Field(
        description="What would be said without any job; to 0.01.", json_schema_extra=in_unit("Hz")
    )
    within_50: bool = Field(description="Whether it was heard within their 50 % interval.")
    within_90: bool = Field(description="Whether it was heard within their 90 % interval.")
    width_ratio: float = Field(
        description="Width of their 90 % interval over that without any job; to 0.01.",
        json_schema_extra=in_unit("1"),
    )


class LearnedJob(AnswerModel):
    """One job among the others."""

    name: str = Field(description="As given.", examples=["blue van"])
    is_new: bool = Field(description="Whether it was fitted now; false: it stood in earlier.")
    outcome: JobOutcome = Field(description="Of its own fit.")
    readings: int = Field(description="How many.", json_schema_extra=in_unit("1"))
    tones: int = Field(description="Heard, how many.", json_schema_extra=in_unit("1"))
    apart: bool = Field(description="Whether it stands apart from all others.")
    chance: float = Field(
        description="That a job of the others' kind lies as far from them; two digits. It stands "
        "apart below 0.01 over the number of jobs.",
        json_schema_extra={**in_unit("1"), "maximum": 1},
    )
    message: str = Field(description="What it says beside the others, in plain words.")
    held_out: HeldOut | None = Field(
        description="Null where no warm tone was heard that counts, or there is no other job."
    )


class HonestySoFar(AnswerModel):
    """Over all jobs that were heard, each predicted from all others."""

    jobs: int = Field(description="That were heard.", json_schema_extra=in_unit("1"))
    within_50: int = Field(
        description="Of these, heard within the 50 % interval.", json_schema_extra=in_unit("1")
    )
    within_90: int = Field(
        description="Of these, heard within the 90 % interval.", json_schema_extra=in_unit("1")
    )
    width_ratio: float = Field(
        description="Width of the 90 % interval over that without any job, median; to 0.01.",
        json_schema_extra=in_unit("1"),
    )


class LearnedUnknown(AnswerModel):
    """What all jobs say of one coefficient of the model; three digits."""

    name: str = Field(description="As in unknowns.fixed of a fit.", examples=["stirring"])
    meaning: str = Field(description="In words.")
    jobs: int = Field(description="That have it as other jobs do.", json_schema_extra=in_unit("1"))
    usual: float = Field(
        description="What is believed before any job, median.", json_schema_extra=in_unit("1")
    )
    usual_90: Pair = Field(description="Its 90 % interval.", json_schema_extra=in_unit("1"))
    common: float = Field(
        description="What is common to the jobs, median.", json_schema_extra=in_unit("1")
    )
    common_90: Pair = Field(
        description="How well that is known, 90 % interval.", json_schema_extra=in_unit("1")
    )
    between_jobs: float = Field(
        description="One standard deviation between jobs, as a factor: 1.3 is 30 % to either "
        "side; median.",
        json_schema_extra=in_unit("1"),
    )
    between_jobs_90: Pair = Field(
        description="How well that is known, 90 % interval.", json_schema_extra=in_unit("1")
    )
    next_90: Pair = Field(
        description="What is believed of the next job, 90 % interval.",
        json_schema_extra=in_unit("1"),
    )
    width_ratio: float = Field(
        description="Width of next_90 over that of usual_90, of the logarithm; to 0.01. More than "
        "1 where jobs differ by more than was believed before.",
        json_schema_extra=in_unit("1"),
    )


class LearnedThermometer(AnswerModel):
    """What all jobs say of one thermometer that their readings name."""

    thermometer: Literal["infrared", "contact"] = Field(
        description="Its kind.", examples=["infrared"]
    )
    thermometer_name: str = Field(
        description="As the readings call it.", examples=["the yellow one"]
    )
    jobs: int = Field(
        description="That were read with it.", examples=[4], json_schema_extra=in_unit("1")
    )
    shows_too_much_percent: float = Field(
        description="Of the °C, median; less than 0 where it shows too little; to 0.1.",
        examples=[3.1],
        json_schema_extra=in_unit("%"),
    )
    shows_too_much_90_percent: Pair = Field(
        description="Its 90 % interval.", examples=[[1.6, 4.6]], json_schema_extra=in_unit("%")
    )
    message: str = Field(
        description="In plain words.",
        examples=[
            "“the yellow one” shows 1.6 to 4.6 % too much of its °C, by 4 jobs, with 90 %: have "
            "it checked."
        ],
    )


class LearnWork(AnswerModel):
    """The work that was done."""

    fits: int = Field(description="Of new jobs.", json_schema_extra=in_unit("1"))
    effective_sets: float = Field(
        description="How many equally weighted sets of shares, of what differs between jobs, "
        "would tell as much; to 0.1.",
        json_schema_extra=in_unit("1"),
    )


class LearnAnswer(WholeAnswer):
    """A shop's calibration, what it says, and how honest it is on its own jobs."""

    TABLE = "unknowns"
    SHORT = ("held_out.jobs", "held_out.within_90", "held_out.width_ratio")

    form: Literal[1] = Field(description="Of this answer.", json_schema_extra=in_unit("1"))
    summary: str = Field(description="The answer in plain words.")
    jobs: list[LearnedJob] = Field(description="Those of earlier first, then the new ones.")
    held_out: HonestySoFar | None = Field(
        description="Null where no two jobs tell anything of each other's tone."
    )
    unknowns: list[LearnedUnknown] = Field(description="Those that are best known first.")
    thermometers: list[LearnedThermometer] = Field(
        description="Those that readings name; what they show too much is allowed for in all else."
    )
    calibration: Calibration = Field(
        description="The shop's, for case.closures.calibration of any route, and for earlier."
    )
    cautions: list[Caution]
    assumptions: list[str] = Field(description="What was taken for granted.")
    work: LearnWork
    model_version: str = Field(description="Version of the model that answered.")

    def report(self, *, full: bool = True) -> str:
        """The answer as the command line prints it; without ``full`` its notes are shortened."""
        from warmbranch_service.learn.table import readable_learn

        return readable_learn(self, full=full)
