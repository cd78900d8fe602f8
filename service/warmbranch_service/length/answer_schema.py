"""What ``POST /v1/length`` gives: the hand-over to other programs, and the cut list."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.fields import AnswerModel, Loops, in_unit
from warmbranch_service.contract.whole_answer import WholeAnswer
from warmbranch_service.length.parts import (
    CutList,
    DiameterChoice,
    FoldProposal,
    NotchAnswer,
    OutlineAnswer,
    PairAnswer,
    PlaceAnswer,
)

FORM: Literal[1] = 1
"""Version of the answer's form: fields may be added within it, none renamed or removed."""

LengthOutcome = Literal["length found", "compromise found", "compromise at the end of the range"]


class TargetAnswer(AnswerModel):
    """The tone aimed at."""

    engine_order: float | None = Field(
        description="Engine order that rpm refers to; null without an engine.",
        json_schema_extra=in_unit("1"),
    )
    quiet_rpm: float | None = Field(
        description="Engine speed aimed at; to 0.1. Null without an engine, and for a loudness "
        "curve, which aims at no single one.",
        json_schema_extra=in_unit("rpm"),
    )
    frequency_Hz: float | None = Field(
        description="Tone aimed at; to 0.001. Null for a loudness curve.",
        json_schema_extra=in_unit("Hz"),
    )


class LengthContributions(AnswerModel):
    """From the one-temperature rule to the length, one effect after the other; they add up."""

    one_temperature_rule_mm: float = Field(
        description="Where one starts: c/(4f) with dry air at the main gas temperature; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    gas_composition_mm: float = Field(
        description="The gas itself in place of dry air; to 0.01.", json_schema_extra=in_unit("mm")
    )
    cold_tail_mm: float = Field(
        description="The gas growing colder towards the cap; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    mouth_correction_mm: float = Field(
        description="Gas of the main pipe that swings with the branch; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    wall_losses_mm: float = Field(
        description="Viscous and thermal layers at the bore's wall; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    bends_mm: float = Field(
        description="The bends' lower inertance; to 0.01.", json_schema_extra=in_unit("mm")
    )
    learned_mm: float = Field(
        description="What the model leaves over, as the calibration learned it; to 0.01. 0 without "
        "a calibration.",
        json_schema_extra=in_unit("mm"),
    )
    bore_changes_mm: float = Field(
        description="Pieces of other tubes, with the gas that swings with their steps; to 0.01. 0 "
        "of one tube.",
        json_schema_extra=in_unit("mm"),
    )


class TrimStep(AnswerModel):
    """One line of the table of cuts."""

    cut_mm: float = Field(
        description="Taken off the branch as built; to 0.01.", json_schema_extra=in_unit("mm")
    )
    length_mm: float = Field(
        description="Centre-line length left; to 0.01.", json_schema_extra=in_unit("mm")
    )
    quiet_rpm: float | None = Field(
        description="Engine speed that it then quietens; to 0.1. Null without an engine.",
        json_schema_extra=in_unit("rpm"),
    )
    frequency_Hz: float = Field(
        description="First resonance; to 0.001.", json_schema_extra=in_unit("Hz")
    )


class PointAnswer(AnswerModel):
    """What the one length does at one operating point."""

    name: str = Field(description="As in the request.")
    weight: float = Field(description="As in the request.", json_schema_extra=in_unit("1"))
    quiet_rpm: float | None = Field(
        description="Engine speed that the branch quietens there; to 0.1.",
        json_schema_extra=in_unit("rpm"),
    )
    frequency_Hz: float | None = Field(
        description="First resonance; to 0.001.", json_schema_extra=in_unit("Hz")
    )
    loudest_left_dB: float | None = Field(
        description="Loudest level left over the band; for a single tone, its transmission loss "
        "with the sign turned. To 0.01. Null where nothing is left, without losses.",
        json_schema_extra=in_unit("dB"),
    )
    cap_wall_degC: float = Field(
        description="Wall at the cap; to 0.1.", json_schema_extra=in_unit("degC")
    )


class LoudnessAnswer(AnswerModel):
    """The loudness curve with the branch; of several operating points, the loudest."""

    aim: Literal["loudest", "weighted mean"] = Field(description="What was made least.")
    loudest_before_dB: float = Field(
        description="Loudest level of the band without the branch; to 0.01.",
        json_schema_extra=in_unit("dB"),
    )
    loudest_after_dB: float = Field(
        description="Loudest level left; to 0.01.", json_schema_extra=in_unit("dB")
    )
    loudest_after_rpm: float = Field(
        description="Where it is; to 0.1.", json_schema_extra=in_unit("rpm")
    )
    mean_before_dB: float = Field(
        description="Mean of the powers over band and operating points, without the branch; to "
        "0.01.",
        json_schema_extra=in_unit("dB"),
    )
    mean_after_dB: float = Field(
        description="The same with the branch; to 0.01.", json_schema_extra=in_unit("dB")
    )
    rpm: list[float] = Field(
        description="Engine speeds of the curves; to 0.1.", json_schema_extra=in_unit("rpm")
    )
    before_dB: list[float] = Field(
        description="Levels as measured; to 0.01.", json_schema_extra=in_unit("dB")
    )
    after_dB: list[float] = Field(
        description="Levels left; to 0.01.", json_schema_extra=in_unit("dB")
    )


class LengthWork(AnswerModel):
    """The work that was done."""

    searches: int = Field(
        description="Solutions of the whole model in the search for the length, one after the "
        "other; for a compromise, all of them.",
        json_schema_extra=in_unit("1"),
    )
    draws: int = Field(
        description="Of the uncertain closures, for the length to build.",
        json_schema_extra=in_unit("1"),
    )
    loops: Loops


class LengthAnswer(WholeAnswer):
    """How long the branch must be, how to cut it, and what it will do."""

    TABLE = "trim_steps"
    SHORT = ("outcome", "centreline_length_mm", "build_length_mm", "rpm_per_mm")

    form: Literal[1] = Field(
        description="Version of this answer's form: fields may be added within it, none renamed, "
        "removed or given another unit.",
        json_schema_extra=in_unit("1"),
    )
    outcome: LengthOutcome = Field(description="How it ended; a poor answer is named, not refused.")
    summary: str = Field(description="The answer in plain words.")
    target: TargetAnswer
    centreline_length_mm: float = Field(
        description="Right length, from the main pipe's inner wall to the cap's inner face, along "
        "the centre-line; to 0.0001, so that it finds its resonance again within a millionth.",
        json_schema_extra=in_unit("mm"),
    )
    build_length_mm: float = Field(
        description="Length to build, then to trim; to 0.1, rounded up.",
        json_schema_extra=in_unit("mm"),
    )
    allowance_mm: float = Field(
        description="Of it, for welds and cap; to 0.01.", json_schema_extra=in_unit("mm")
    )
    chance_too_short: float = Field(
        description="Chance that the right length is longer than build_length_mm less the "
        "allowance; to 0.001.",
        json_schema_extra=in_unit("1"),
    )
    right_length_90_mm: tuple[float, float] = Field(
        description="Range that holds the right length with 90 %; to 0.1.",
        json_schema_extra=in_unit("mm"),
    )
    certainty: Literal["prior", "calibration"] = Field(
        description="Where that range comes from: what is believed of any branch, or a fit."
    )
    rpm_per_mm: float | None = Field(
        description="Change of the quiet rpm with the length at the right length, negative; four "
        "digits. Null without an engine.",
        json_schema_extra=in_unit("rpm/mm"),
    )
    Hz_per_mm: float = Field(
        description="The same of the first resonance; four digits.",
        json_schema_extra=in_unit("Hz/mm"),
    )
    trim_steps: list[TrimStep] = Field(
        description="From the branch as built to well below the right length."
    )
    contributions_mm: LengthContributions = Field(
        description="What makes the length; with the temperatures of the whole model.",
        json_schema_extra=in_unit("mm"),
    )
    one_temperature_length_mm: float = Field(
        description="What the main gas temperature all along would give, as is the habit; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    transit_time_length_mm: float = Field(
        description="What the sum of local travel times would give; to 0.01.",
        json_schema_extra=in_unit("mm"),
    )
    operating_points: list[PointAnswer] = Field(
        description="What the length does at each operating point; at the case alone where none "
        "is given."
    )
    loudness: LoudnessAnswer | None = Field(
        description="The loudness curve with the branch; null for another target."
    )
    notch: NotchAnswer = Field(description="Transmission loss and its widths.")
    diameters: list[DiameterChoice] = Field(
        description="The tube as given and its stock neighbours; empty where not asked, or where "
        "none is admissible."
    )
    cut_list: list[CutList] = Field(description="The branch as built, piece by piece.")
    outline: OutlineAnswer = Field(description="The branch as built, in space.")
    folds: list[FoldProposal] = Field(
        description="Ways of folding into space_mm; empty where none was asked, where the branch "
        "fits as it is, and where none fits."
    )
    place: PlaceAnswer | None = Field(description="Where on the main pipe; null where not asked.")
    two_branches: PairAnswer | None = Field(description="Two branches; null where not asked.")
    cautions: list[Caution]
    assumptions: list[str] = Field(description="What was taken for what the request left open.")
    work: LengthWork
    model_version: str = Field(description="Version of the model that answered.")

    def report(self, *, full: bool = True) -> str:
        """The answer as the command line prints it; without ``full`` its notes are shortened."""
        from warmbranch_service.length.table import readable_length

        return readable_length(self, full=full)
