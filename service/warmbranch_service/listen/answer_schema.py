"""What ``POST /v1/listen`` gives."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.fields import AnswerModel, JsonSchema

Outcome = Literal["notch heard", "no notch heard", "engine not heard", "before only"]
Side = Literal["before", "after"]


def _unit(unit: str) -> JsonSchema:
    return {"x-unit": unit}


class Track(AnswerModel):
    """The engine's speed through a recording; null where it was not heard for sure."""

    time_s: list[float] = Field(description="To 0.01.", json_schema_extra=_unit("s"))
    rpm: list[float | None] = Field(
        description="Engine speed; to 0.1. Null: not heard, or not sure.",
        json_schema_extra=_unit("rpm"),
    )
    uncertainty_rpm: list[float | None] = Field(
        description="Standard deviation; to 0.1.", json_schema_extra=_unit("rpm")
    )
    audible: list[float] = Field(
        description="Chance that the engine is heard at all; to 0.001.",
        json_schema_extra=_unit("1"),
    )


class Rival(AnswerModel):
    """Another engine speed that might explain the sound."""

    ratio: float = Field(description="Over the speed told; to 0.001.", json_schema_extra=_unit("1"))
    log10_odds: float = Field(
        description="How much likelier the speed told is, as a power of ten; to 0.1.",
        json_schema_extra=_unit("1"),
    )


class OrderCurve(AnswerModel):
    """Level of one engine order."""

    order: float = Field(
        description="Cycles a turn of the crankshaft.", json_schema_extra=_unit("1")
    )
    rpm: list[float] = Field(description="To 1.", json_schema_extra=_unit("rpm"))
    frequency_Hz: list[float] = Field(description="To 0.1.", json_schema_extra=_unit("Hz"))
    level_dB: list[float] = Field(
        description="To 0.1; the zero is the recording's own.", json_schema_extra=_unit("dB")
    )


class RecordingAnswer(AnswerModel):
    """One recording, as heard."""

    side: Side = Field(description="Before or after the branch was built or changed.")
    duration_s: float = Field(description="To 0.1.", json_schema_extra=_unit("s"))
    clipped_share: float = Field(
        description="Samples at full scale; to 0.0001.", json_schema_extra=_unit("1")
    )
    sure_share: float = Field(
        description="Moments with a sure engine speed; to 0.001.", json_schema_extra=_unit("1")
    )
    track: Track = Field(description="The engine's speed.")
    rivals: list[Rival] = Field(description="Other speeds, the nearest rival first.")
    orders: list[OrderCurve] = Field(description="Orders that stand above the noise.")


class LoudnessCurve(AnswerModel):
    """Loudness of the engine's orders together against its speed."""

    side: Side = Field(description="Which recordings.")
    rpm: list[float] = Field(description="To 1.", json_schema_extra=_unit("rpm"))
    level_dB: list[float] = Field(
        description="Unweighted; to 0.1. The zero is the recording's own.",
        json_schema_extra=_unit("dB"),
    )
    level_dBA: list[float] = Field(description="A-weighted; to 0.1.", json_schema_extra=_unit("dB"))


class LoudnessPoint(AnswerModel):
    """One point, as target.loudness of POST /v1/length takes it."""

    rpm: float = Field(description="To 1.", json_schema_extra=_unit("rpm"))
    level_dB: float = Field(description="A-weighted; to 0.1.", json_schema_extra=_unit("dB"))


class DroneAnswer(AnswerModel):
    """Where it is loudest, A-weighted."""

    rpm: float = Field(description="To 1.", json_schema_extra=_unit("rpm"))
    interval_50: tuple[float, float] = Field(description="To 1.", json_schema_extra=_unit("rpm"))
    interval_90: tuple[float, float] = Field(description="To 1.", json_schema_extra=_unit("rpm"))
    at_edge: bool = Field(description="It is the lowest or highest speed heard.")


class Spread(AnswerModel):
    """A number and how sure it is."""

    median: float = Field(description="To 0.01.", json_schema_extra={"x-unit": "as its name"})
    interval_50: tuple[float, float] = Field(
        description="To 0.01.", json_schema_extra={"x-unit": "as its name"}
    )
    interval_90: tuple[float, float] = Field(
        description="To 0.01.", json_schema_extra={"x-unit": "as its name"}
    )


class NotchAnswer(AnswerModel):
    """What the recordings say of the branch."""

    log10_odds: float = Field(
        description="Odds that a branch explains the sound over that none does, as a power of "
        "ten; to 0.01. Heard from 1.3 on.",
        json_schema_extra=_unit("1"),
    )
    resonance_Hz: Spread | None = Field(description="Null where no notch is heard.")
    quiet_rpm: Spread | None = Field(description="The same as an engine speed.")
    searched_Hz: tuple[float, float] = Field(
        description="Range in which a first resonance would have been heard; to 0.1.",
        json_schema_extra=_unit("Hz"),
    )
    depth_dB: float | None = Field(
        description="Deepest drop, of the likeliest form; to 0.1.", json_schema_extra=_unit("dB")
    )
    predicted_Hz: float | None = Field(
        description="The case's own resonance; null without a case. To 0.01.",
        json_schema_extra=_unit("Hz"),
    )


class HeardAnswer(AnswerModel):
    """An entry of heard in POST /v1/fit, as it stands."""

    quiet_rpm: float = Field(description="To 0.1.", json_schema_extra=_unit("rpm"))
    uncertainty_rpm: float = Field(
        description="Standard deviation; to 0.1.", json_schema_extra=_unit("rpm")
    )


class ChangeAnswer(AnswerModel):
    """How much louder it is after than before, at each speed heard both times."""

    rpm: list[float] = Field(description="To 1.", json_schema_extra=_unit("rpm"))
    change_dB: list[float] = Field(
        description="Negative: quieter; to 0.1.", json_schema_extra=_unit("dB")
    )
    change_dBA: list[float] = Field(
        description="A-weighted; to 0.1.", json_schema_extra=_unit("dB")
    )


class ListenAnswer(AnswerModel):
    """What is heard in the recordings."""

    outcome: Outcome = Field(description="How it ended.")
    summary: str = Field(description="The answer in a sentence or two.")
    engine_order: float = Field(
        description="Order that quiet_rpm refers to.", json_schema_extra=_unit("1")
    )
    recordings: list[RecordingAnswer] = Field(description="Each recording.")
    loudness: list[LoudnessCurve] = Field(description="Before, after, or both.")
    loudness_target: list[LoudnessPoint] = Field(
        description="target.loudness for POST /v1/length, from the recordings before where there "
        "are any; empty where too little is heard."
    )
    drone: DroneAnswer | None = Field(description="Loudest speed of loudness_target.")
    notch: NotchAnswer | None = Field(
        description="Null without a recording after, or where too little is heard to say."
    )
    heard: list[HeardAnswer] = Field(
        description="heard for POST /v1/fit as it stands; empty where no notch is heard."
    )
    cabin_resonances_Hz: list[float] = Field(
        description="Loud frequencies that before and after have in common: the cabin's, not the "
        "branch's; to 1.",
        json_schema_extra=_unit("Hz"),
    )
    change: ChangeAnswer | None = Field(description="Null without recordings of both.")
    minutes_since_start: float | None = Field(
        description="As given.", json_schema_extra=_unit("min")
    )
    cautions: list[Caution] = Field(description="What to know before trusting it.")
    assumptions: list[str] = Field(description="What was taken for what the request left open.")
    model_version: str = Field(description="Version of the model.")
