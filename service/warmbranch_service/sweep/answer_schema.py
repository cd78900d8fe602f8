"""The lines of the answer to ``POST /v1/sweep``."""

from __future__ import annotations

from typing import Annotated, Literal, Self, get_args

from pydantic import Field, RootModel

from warmbranch_service.contract.errors import MOST_ENTRIES, ProblemDetails, ProblemEntry
from warmbranch_service.contract.fields import AnswerModel, JsonSchema
from warmbranch_service.steady.outputs import OUTPUTS
from warmbranch_service.sweep.varied import MOST_FIELDS, MOST_LOSSES
from warmbranch_service.version import MODEL_VERSION

MOST_OUTPUTS = len(OUTPUTS) + 2 * MOST_LOSSES

DesignOutcome = Literal["resonance found", "no resonance", "not admitted", "not solved"]
OUTCOMES: tuple[DesignOutcome, ...] = get_args(DesignOutcome)
_COUNT: JsonSchema = {"x-unit": "1", "minimum": 0}
_HOLDER = "that which the header names"


class SweepInput(AnswerModel):
    """A varied field."""

    name: str = Field(
        description="Key under which every design tells its value.",
        examples=["case.main_pipe.gas_temperature_degC"],
    )
    pointer: str = Field(
        description="The field as a JSON Pointer into the request.",
        examples=["/case/main_pipe/gas_temperature_degC"],
    )
    unit: str | None = Field(description="Unit; null for a name.", examples=["degC"])


class SweepOutput(AnswerModel):
    """A number that is reported of every design."""

    name: str = Field(
        description="Key under which every design tells its value.",
        examples=["resonance.quiet_rpm"],
    )
    unit: str = Field(description="Unit.", examples=["rpm"])


class SweepHeading(AnswerModel):
    """What the lines that follow hold."""

    designs: int = Field(description="Designs in all.", examples=[1024], json_schema_extra=_COUNT)
    lines: int = Field(
        description="Lines of the whole answer, this one included.",
        examples=[1028],
        json_schema_extra=_COUNT,
    )
    inputs: list[SweepInput] = Field(
        description="The varied fields.", json_schema_extra={"maxItems": MOST_FIELDS}
    )
    outputs: list[SweepOutput] = Field(
        description="What is reported.", json_schema_extra={"maxItems": MOST_OUTPUTS}
    )
    identity: str = Field(
        description="Equal for sweeps whose lines are equal: same request, same model.",
        examples=["4f1c0a2be95d7e83"],
    )
    model_version: str = Field(
        description="Version of the model that answers.", examples=[MODEL_VERSION]
    )


class SweepHeader(AnswerModel):
    """First line."""

    sweep: SweepHeading = Field(description="What the lines that follow hold.")

    @classmethod
    def of(
        cls,
        *,
        designs: int,
        lines: int,
        inputs: list[SweepInput],
        outputs: list[SweepOutput],
        identity: str,
    ) -> Self:
        """The line."""
        return cls(
            sweep=SweepHeading(
                designs=designs,
                lines=lines,
                inputs=inputs,
                outputs=outputs,
                identity=identity,
                model_version=MODEL_VERSION,
            )
        )


class SweepRow(AnswerModel):
    """One design."""

    index: int = Field(description="Number of the design, from 0.", json_schema_extra=_COUNT)
    inputs: dict[str, float | str] = Field(
        description="Value of each varied field, in the unit that the header names.",
        examples=[{"case.main_pipe.gas_temperature_degC": 310}],
        json_schema_extra={"maxProperties": MOST_FIELDS, "x-unit": _HOLDER, "x-range": "any"},
    )
    outcome: DesignOutcome = Field(
        description="How it ended. not admitted: no such case is answered, and errors says why; "
        "not solved: the solver stopped short of its tolerance."
    )
    outputs: dict[str, float | None] | None = Field(
        description="What was asked for, in the unit that the header names; null in it where "
        "there is no such number. Null where the design was not solved.",
        examples=[{"resonance.quiet_rpm": 2350.1, "resonance.quality_factor": 24.6}],
        json_schema_extra={"maxProperties": MOST_OUTPUTS, "x-unit": _HOLDER, "x-range": "any"},
    )
    errors: list[ProblemEntry] = Field(
        description="Why the design is not admitted, as a steady request of it would be told.",
        json_schema_extra={"maxItems": MOST_ENTRIES},
    )


class Progress(AnswerModel):
    """How far the answer has come."""

    designs_done: int = Field(
        description="Designs above this line.", examples=[512], json_schema_extra=_COUNT
    )
    designs: int = Field(description="Designs in all.", examples=[1024], json_schema_extra=_COUNT)
    next_line: int = Field(
        description="Number of the next line: the from_line to go on with, should the answer "
        "break off here.",
        examples=[515],
        json_schema_extra={"x-unit": "1", "minimum": 1},
    )
    outcomes: dict[str, int] = Field(
        description="How the designs since the last such line ended.",
        examples=[{"resonance found": 509, "not admitted": 3}],
        json_schema_extra={"maxProperties": len(OUTCOMES), "x-unit": "1", "x-range": "1 to 512"},
    )


class SweepProgress(AnswerModel):
    """A line of progress, after every chunk of designs."""

    progress: Progress = Field(description="How far the answer has come.")

    @classmethod
    def of(
        cls, *, designs_done: int, designs: int, next_line: int, outcomes: dict[str, int]
    ) -> Self:
        """The line."""
        return cls(
            progress=Progress(
                designs_done=designs_done, designs=designs, next_line=next_line, outcomes=outcomes
            )
        )


class End(AnswerModel):
    """The answer is whole."""

    complete: Literal[True] = Field(description="Nothing is missing above, from from_line on.")
    designs: int = Field(description="Designs in all.", examples=[1024], json_schema_extra=_COUNT)
    lines: int = Field(
        description="Lines of the whole answer.", examples=[1028], json_schema_extra=_COUNT
    )


class SweepEnd(AnswerModel):
    """Last line; an answer without it was cut off."""

    end: End = Field(description="The answer is whole.")

    @classmethod
    def of(cls, *, designs: int, lines: int) -> Self:
        """The line."""
        return cls(end=End(complete=True, designs=designs, lines=lines))


class SweepFailure(AnswerModel):
    """Last line of an answer that failed after it had begun."""

    problem: ProblemDetails = Field(
        description="The failure; lines above it hold, and from_line goes on behind them."
    )


class SweepLine(
    RootModel[
        Annotated[
            SweepHeader | SweepRow | SweepProgress | SweepEnd | SweepFailure,
            Field(union_mode="smart"),
        ]
    ]
):
    """One line of the answer, each a JSON object of one of five shapes."""
