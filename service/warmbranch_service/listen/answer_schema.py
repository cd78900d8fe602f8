"""What ``POST /v1/listen`` gives."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.fields import AnswerModel, in_unit
from warmbranch_service.steady.answer_schema import Levels

ListenOutcome = Literal["notch heard", "no notch heard", "engine not heard", "before only"]
Side = Literal["before", "after"]


class Track(AnswerModel):
    """The engine's speed through a recording; null where it was not heard for sure."""

    time_s: list[float] = Field(
        examples=[[0.16, 0.26, 0.36]], description="To 0.01.", json_schema_extra=in_unit("s")
    )
    rpm: list[float | None] = Field(
        examples=[[1502.3, 1509.8, None]],
        description="Engine speed; to 0.1. Null: not heard, or not sure.",
        json_schema_extra=in_unit("rpm"),
    )
    uncertainty_rpm: list[float | None] = Field(
        examples=[[0.9, 0.8, None]],
        description="Standard deviation; to 0.1.",
        json_schema_extra=in_unit("rpm"),
    )
    audible: list[float] = Field(
        examples=[[1.0, 0.999, 0.02]],
        description="Chance that the engine is heard at all; to 0.001.",
        json_schema_extra=in_unit("1"),
    )


class RivalSpeed(AnswerModel):
    """Another engine speed that might explain the sound."""

    ratio: float = Field(
        examples=[0.5], description="Over the speed told; to 0.001.", json_schema_extra=in_unit("1")
    )
    log10_odds: float = Field(
        examples=[120.4],
        description="How much likelier the speed told is, as a power of ten; to 0.1.",
        json_schema_extra=in_unit("1"),
    )


class OrderCurve(AnswerModel):
    """Level of one engine order."""

    order: float = Field(
        examples=[2], description="Cycles a turn of the crankshaft.", json_schema_extra=in_unit("1")
    )
    rpm: list[float] = Field(
        examples=[[1501, 1531, 1562]], description="To 1.", json_schema_extra=in_unit("rpm")
    )
    frequency_Hz: list[float] = Field(
        examples=[[50.0, 51.0, 52.1]], description="To 0.1.", json_schema_extra=in_unit("Hz")
    )
    level_dB: list[float] = Field(
        examples=[[-31.2, -30.8, -29.9]],
        description="To 0.1; the zero is the recording's own.",
        json_schema_extra=in_unit("dB"),
    )
    level_dBA: list[float] = Field(
        examples=[[-61.3, -60.6, -59.4]],
        description="The same, A-weighted; to 0.1.",
        json_schema_extra=in_unit("dB(A)"),
    )


class GainAnswer(AnswerModel):
    """What the recorder's automatic gain did, by the noise above the orders."""

    chance: float = Field(
        examples=[0.98],
        description="That the gain follows the loudness; to 0.01. 0.5: the noise does not tell.",
        json_schema_extra=in_unit("1"),
    )
    share_90: tuple[float, float] = Field(
        examples=[(0.37, 0.45)],
        description="dB that the gain falls for one that the sound rises, nine times in ten; to "
        "0.01. 0: steady.",
        json_schema_extra=in_unit("1"),
    )
    taken_off_dB: float = Field(
        examples=[3.1],
        description="Largest less least expected gain where the engine is heard, taken off the "
        "levels; to 0.1.",
        json_schema_extra=in_unit("dB"),
    )


class RecordingAnswer(AnswerModel):
    """One recording, as heard."""

    side: Side = Field(
        examples=["after"], description="Before or after the branch was built or changed."
    )
    duration_s: float = Field(
        examples=[21.4], description="To 0.1.", json_schema_extra=in_unit("s")
    )
    clipped_share: float = Field(
        examples=[0.0],
        description="Samples at full scale; to 0.0001.",
        json_schema_extra=in_unit("1"),
    )
    sure_share: float = Field(
        examples=[0.94],
        description="Moments with a sure engine speed; to 0.001.",
        json_schema_extra=in_unit("1"),
    )
    automatic_gain: GainAnswer | None = Field(
        description="Null with a pilot tone, which tells the gain, and where no engine is heard."
    )
    track: Track = Field(description="The engine's speed.")
    rivals: list[RivalSpeed] = Field(description="Other speeds, the nearest rival first.")
    orders: list[OrderCurve] = Field(description="Orders that stand above the noise.")


class LoudnessCurve(AnswerModel):
    """Loudness of the engine's orders together against its speed."""

    side: Side = Field(examples=["after"], description="Which recordings.")
    rpm: list[float] = Field(
        examples=[[1525, 1575, 1625]], description="To 1.", json_schema_extra=in_unit("rpm")
    )
    frequency_Hz: list[float] = Field(
        examples=[[50.8, 52.5, 54.2]],
        description="Of engine_order at these speeds; to 0.1.",
        json_schema_extra=in_unit("Hz"),
    )
    level_dB: list[float] = Field(
        examples=[[-24.1, -23.5, -22.0]],
        description="Unweighted; to 0.1. The zero is the recording's own.",
        json_schema_extra=in_unit("dB"),
    )
    level_dBA: list[float] = Field(
        examples=[[-41.0, -40.2, -38.4]],
        description="A-weighted; to 0.1.",
        json_schema_extra=in_unit("dB(A)"),
    )


class CurvePoint(AnswerModel):
    """One point, as target.loudness of POST /v1/length takes it."""

    rpm: float = Field(examples=[2375], description="To 1.", json_schema_extra=in_unit("rpm"))
    level_dB: float = Field(
        examples=[-28.4], description="A-weighted; to 0.1.", json_schema_extra=in_unit("dB")
    )


class DroneAnswer(AnswerModel):
    """Where it is loudest, A-weighted."""

    rpm: float = Field(examples=[2375], description="To 1.", json_schema_extra=in_unit("rpm"))
    interval_50: tuple[float, float] = Field(
        examples=[[2352, 2391]], description="To 1.", json_schema_extra=in_unit("that of rpm")
    )
    interval_90: tuple[float, float] = Field(
        examples=[[2310, 2425]], description="To 1.", json_schema_extra=in_unit("that of rpm")
    )
    at_edge: bool = Field(examples=[False], description="It is the lowest or highest speed heard.")


class LossHeard(AnswerModel):
    """What the recordings after lack, over frequency, whatever its form; beside what the case says.

    A level that all frequencies share is the recorder's and is not told.
    """

    frequency_Hz: list[float] = Field(
        examples=[[78.1, 79.7, 81.3]],
        description="Where orders were heard after; to 0.1.",
        json_schema_extra=in_unit("Hz"),
    )
    measured_dB: list[float] = Field(
        examples=[[6.1, 12.4, 7.0]],
        description="By how much it is quieter; to 0.1.",
        json_schema_extra=in_unit("dB"),
    )
    uncertainty_dB: list[float] = Field(
        examples=[[1.9, 2.2, 2.0]],
        description="Standard deviation; without a recording before, that of the cabin's own "
        "hills; to 0.1.",
        json_schema_extra=in_unit("dB"),
    )
    predicted_dB: list[float] | None = Field(
        examples=[[9.8, 21.5, 10.4]],
        description="The case's transmission loss; null without a case. Sound that reaches the "
        "ear past the branch fills the measured one. To 0.1.",
        json_schema_extra=in_unit("dB"),
    )


class NotchHeard(AnswerModel):
    """What the recordings say of the branch."""

    log10_odds: float = Field(
        examples=[14.2],
        description="Odds that a branch explains the sound over that none does, as a power of "
        "ten; to 0.01. Heard from 1.3 on.",
        json_schema_extra=in_unit("1"),
    )
    resonance_Hz: Levels | None = Field(
        description="To 0.01. Null where no notch is heard.", json_schema_extra=in_unit("Hz")
    )
    quiet_rpm: Levels | None = Field(
        description="The same as an engine speed; to 0.01.", json_schema_extra=in_unit("rpm")
    )
    searched_Hz: tuple[float, float] = Field(
        examples=[[47.2, 431.0]],
        description="Range in which a first resonance would have been heard; to 0.1.",
        json_schema_extra=in_unit("Hz"),
    )
    depth_dB: float | None = Field(
        examples=[13.4],
        description="Deepest drop, of the likeliest form; to 0.1.",
        json_schema_extra=in_unit("dB"),
    )
    predicted_Hz: float | None = Field(
        examples=[80.12],
        description="The case's own resonance; null without a case. To 0.01.",
        json_schema_extra=in_unit("Hz"),
    )
    loss: LossHeard = Field(description="Measured against predicted, over frequency.")


class HeardAnswer(AnswerModel):
    """An entry of heard in POST /v1/fit, as it stands."""

    quiet_rpm: float = Field(
        examples=[2442.6], description="To 0.1.", json_schema_extra=in_unit("rpm")
    )
    uncertainty_rpm: float = Field(
        examples=[24.1], description="Standard deviation; to 0.1.", json_schema_extra=in_unit("rpm")
    )
    time_s: float | None = Field(
        examples=[1200],
        description="From minutes_since_start; null where that was not given. To 1.",
        json_schema_extra=in_unit("s"),
    )


class ChangeAnswer(AnswerModel):
    """How much louder it is after than before, at each speed heard both times."""

    rpm: list[float] = Field(
        examples=[[1525, 1575, 1625]], description="To 1.", json_schema_extra=in_unit("rpm")
    )
    change_dB: list[float] = Field(
        examples=[[-0.4, -1.1, -2.6]],
        description="Negative: quieter; to 0.1.",
        json_schema_extra=in_unit("dB"),
    )
    change_dBA: list[float] = Field(
        examples=[[-0.3, -1.2, -2.4]],
        description="A-weighted; to 0.1.",
        json_schema_extra=in_unit("dB(A)"),
    )


class ListenAnswer(AnswerModel):
    """What is heard in the recordings."""

    outcome: ListenOutcome = Field(examples=["notch heard"], description="How it ended.")
    summary: str = Field(
        examples=["Loudest at 2375 rpm (2310 to 2425)."],
        description="The answer in a sentence or two.",
    )
    engine_order: float = Field(
        examples=[2], description="Order that quiet_rpm refers to.", json_schema_extra=in_unit("1")
    )
    recordings: list[RecordingAnswer] = Field(description="Each recording.")
    loudness: list[LoudnessCurve] = Field(description="Before, after, or both.")
    loudness_target: list[CurvePoint] = Field(
        description="target.loudness for POST /v1/length, from the recordings before where there "
        "are any; empty where too little is heard."
    )
    drone: DroneAnswer | None = Field(description="Loudest speed of loudness_target.")
    notch: NotchHeard | None = Field(
        description="Null without a recording after, or where too little is heard to say."
    )
    heard: list[HeardAnswer] = Field(
        description="heard for POST /v1/fit as it stands; empty where no notch is heard."
    )
    cabin_resonances_Hz: list[float] = Field(
        examples=[[62, 118]],
        description="Loud frequencies that before and after have in common: the cabin's, not the "
        "branch's; to 1.",
        json_schema_extra=in_unit("Hz"),
    )
    change: ChangeAnswer | None = Field(description="Null without recordings of both.")
    minutes_since_start: float | None = Field(
        examples=[20], description="As given.", json_schema_extra=in_unit("min")
    )
    gas_temperature_degC: float | None = Field(
        examples=[310],
        description="As given, or the case's: what the branch was like when it was heard. Null "
        "where neither tells. To 0.1.",
        json_schema_extra=in_unit("degC"),
    )
    cautions: list[Caution] = Field(description="What to know before trusting it.")
    assumptions: list[str] = Field(
        examples=[["Nothing of the recordings is kept."]],
        description="What was taken for what the request left open.",
    )
    model_version: str = Field(examples=["0.2.0"], description="Version of the model.")
