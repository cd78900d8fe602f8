"""Parts of the answer to ``POST /v1/length``: notch, cut list, outline, place, two branches."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from warmbranch_service.case.branch import Piece
from warmbranch_service.contract.fields import AnswerModel, in_unit


class NotchWidth(AnswerModel):
    """How wide the notch is at one level."""

    transmission_loss_dB: float = Field(
        description="At least this.", json_schema_extra=in_unit("dB")
    )
    width_rpm: float | None = Field(
        description="Width; to 0.1. Null without an engine, and where the loss does not reach it.",
        json_schema_extra=in_unit("rpm"),
    )
    width_Hz: float | None = Field(
        description="Width; to 0.01. Null where the loss does not reach it.",
        json_schema_extra=in_unit("Hz"),
    )
    from_rpm: float | None = Field(
        description="Lower edge; to 0.1.", json_schema_extra=in_unit("rpm")
    )
    to_rpm: float | None = Field(
        description="Upper edge; to 0.1.", json_schema_extra=in_unit("rpm")
    )


class NotchAnswer(AnswerModel):
    """Transmission loss of the branch at the right length, at the first operating point."""

    widths: list[NotchWidth]
    peak_dB: float | None = Field(
        description="At the first resonance, the branch at its best; to 0.01. Null without "
        "losses, where it has no bound.",
        json_schema_extra=in_unit("dB"),
    )
    rpm: list[float] | None = Field(
        description="Engine speeds; null without an engine; to 0.1.",
        json_schema_extra=in_unit("rpm"),
    )
    frequency_Hz: list[float] = Field(
        description="Tones; to 0.001.", json_schema_extra=in_unit("Hz")
    )
    transmission_loss_dB: list[float | None] = Field(
        description="With main pipes without reflections on both sides; to 0.001.",
        json_schema_extra=in_unit("dB"),
    )
    peak_90_dB: tuple[float, float] | None = Field(
        description="Range that holds peak_dB with 90 %, from what the mouth's losses, the tone's "
        "level and the flow leave open; to 0.1. Null where it has no bound.",
        examples=[(18.4, 23.9)],
        json_schema_extra=in_unit("dB"),
    )


class DiameterChoice(AnswerModel):
    """The same branch of another tube."""

    name: str = Field(description="The tube's size as dealers call it; as given for one's own.")
    outside_diameter_mm: float = Field(
        description="Outside diameter; to 0.01.", json_schema_extra=in_unit("mm")
    )
    centreline_length_mm: float | None = Field(
        description="Right length; to 0.1. Null where no admissible length serves.",
        json_schema_extra=in_unit("mm"),
    )
    widths: list[NotchWidth]
    peak_dB: float | None = Field(
        description="As in notch; to 0.01.", json_schema_extra=in_unit("dB")
    )
    tube_mass_kg: float = Field(
        description="Tube of that length, without the cap; three digits.",
        json_schema_extra=in_unit("kg"),
    )
    trade_off: str = Field(description="What it gains and what it costs.")
    peak_90_dB: tuple[float, float] | None = Field(
        description="As in notch; to 0.1.",
        examples=[(18.4, 23.9)],
        json_schema_extra=in_unit("dB"),
    )


class CutList(AnswerModel):
    """One piece of the branch as built."""

    piece: int = Field(
        description="From the mouth, the first being 1.", json_schema_extra=in_unit("1")
    )
    kind: Literal["straight", "bend"] = Field(description="What it is.")
    from_mm: float = Field(
        description="Mark where it begins, from the mouth along the centre-line; to 0.1.",
        json_schema_extra=in_unit("mm"),
    )
    to_mm: float = Field(
        description="Mark where it ends, and where to cut; to 0.1.", json_schema_extra=in_unit("mm")
    )
    centreline_mm: float = Field(
        description="Its length on the centre-line; to 0.1.", json_schema_extra=in_unit("mm")
    )
    inside_mm: float = Field(
        description="Its length along the inner side; to 0.1.", json_schema_extra=in_unit("mm")
    )
    outside_mm: float = Field(
        description="Its length along the outer side; to 0.1.", json_schema_extra=in_unit("mm")
    )
    bend_deg: float | None = Field(
        description="Angle; to 0.01. Null for a straight.", json_schema_extra=in_unit("deg")
    )
    bend_radius_mm: float | None = Field(
        description="Radius of the centre-line; to 0.01. Null for a straight.",
        json_schema_extra=in_unit("mm"),
    )
    twist_deg: float | None = Field(
        description="Turn against the bend before it; to 0.01. Null for a straight.",
        json_schema_extra=in_unit("deg"),
    )
    tube_mm: float = Field(
        description="Tube to cut for it, with the saddle at the mouth; to 0.1. Negative where it "
        "would end within the main pipe's wall: take that off the next piece.",
        json_schema_extra=in_unit("mm"),
    )
    takes_the_length: bool = Field(
        description="Whether it is the one made longer or shorter, and trimmed."
    )
    instruction: str = Field(description="What to do, in words.")
    outside_diameter_mm: float = Field(
        description="Of its tube; to 0.01.", json_schema_extra=in_unit("mm")
    )
    wall_thickness_mm: float = Field(
        description="Of its tube; to 0.01.", json_schema_extra=in_unit("mm")
    )


class EnvelopeAnswer(AnswerModel):
    """The box that the branch just fits into."""

    width_mm: float = Field(
        description="Along the main pipe; to 0.1.", json_schema_extra=in_unit("mm")
    )
    depth_mm: float = Field(
        description="Away from the main pipe, from its inner wall; to 0.1.",
        json_schema_extra=in_unit("mm"),
    )
    height_mm: float = Field(description="Upward; to 0.1.", json_schema_extra=in_unit("mm"))


SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 80"></svg>'


class Drawing(AnswerModel):
    """Two views as SVG, in millimetres."""

    plan_svg: str = Field(
        description="From above: along the main pipe to the right, away up.", examples=[SVG]
    )
    side_svg: str = Field(
        description="Along the main pipe: away to the right, upward up.", examples=[SVG]
    )


class OutlineAnswer(AnswerModel):
    """The branch as built: its envelope, its masses, the tube it takes."""

    envelope: EnvelopeAnswer
    fits: bool | None = Field(description="Whether it fits space_mm; null where not asked.")
    crosses_itself: bool = Field(description="Whether two stretches are in each other's way.")
    drawing: Drawing
    saddle_mm: float | None = Field(
        description="Depth of the saddle that fits the tube to the main pipe; to 0.1. Null where "
        "the branch is wider than the main pipe.",
        json_schema_extra=in_unit("mm"),
    )
    tube_mass_kg: float = Field(
        description="Of the tube as built; three digits.", json_schema_extra=in_unit("kg")
    )
    cap_mass_kg: float = Field(
        description="Of a plain cap plate; three digits.", json_schema_extra=in_unit("kg")
    )
    straight_tube_mm: float = Field(
        description="Straight tube to buy, of the branch's own size, saws' kerfs included; to 0.1.",
        json_schema_extra=in_unit("mm"),
    )
    bars: int = Field(description="Bars of bar_mm that it takes.", json_schema_extra=in_unit("1"))
    bends: int = Field(description="Bends to buy or to bend.", json_schema_extra=in_unit("1"))


class FoldProposal(AnswerModel):
    """One way of folding the branch into the space, lengths worked out anew."""

    description: str = Field(description="How it runs, in words.")
    centreline: list[Piece] = Field(
        description="As case.branch.centreline takes it, at the length to build."
    )
    centreline_length_mm: float = Field(
        description="Right length of this folding; to 0.1.", json_schema_extra=in_unit("mm")
    )
    build_length_mm: float = Field(
        description="Length to build; to 0.1.", json_schema_extra=in_unit("mm")
    )
    envelope: EnvelopeAnswer
    drawing: Drawing


class Place(AnswerModel):
    """One place on the main pipe."""

    position_mm: float = Field(
        description="From the open end; to 0.1.", json_schema_extra=in_unit("mm")
    )
    insertion_loss_dB: float = Field(
        description="At the target's tone; to 0.01. Negative where it gets louder.",
        json_schema_extra=in_unit("dB"),
    )
    band_insertion_loss_dB: float = Field(
        description="Of the power within 5 % to both sides of the tone; to 0.01.",
        json_schema_extra=in_unit("dB"),
    )
    relative_pressure: float = Field(
        description="Standing wave of the tone without the branch, over its greatest; to 0.001.",
        json_schema_extra=in_unit("1"),
    )


class BetterPlaceAnswer(AnswerModel):
    """A place that is better than all around it."""

    place: Place
    from_mm: float = Field(
        description="From here on it is at most 1 dB worse; to 0.1.",
        json_schema_extra=in_unit("mm"),
    )
    to_mm: float = Field(description="Up to here; to 0.1.", json_schema_extra=in_unit("mm"))


class PlaceAnswer(AnswerModel):
    """What the branch does with the pipe behind it and ahead of it."""

    here: Place | None = Field(description="At the position given; null where none is.")
    near_node: bool | None = Field(
        description="Whether that is near a pressure node of the tone, where a branch does "
        "nothing; null where no position is given."
    )
    nodes_mm: list[float] = Field(
        description="Pressure nodes of the tone, from the open end; to 0.1. Flow past the end "
        "may move them by a third of the main pipe's radius.",
        json_schema_extra=in_unit("mm"),
    )
    better: list[BetterPlaceAnswer] = Field(
        description="Best places within the free stretch, best first."
    )
    position_mm: list[float] = Field(
        description="Places of the sweep; to 0.1.", json_schema_extra=in_unit("mm")
    )
    insertion_loss_dB: list[float] = Field(
        description="At the tone; to 0.01.", json_schema_extra=in_unit("dB")
    )
    band_insertion_loss_dB: list[float] = Field(
        description="Over the band; to 0.01.", json_schema_extra=in_unit("dB")
    )


class PairChoice(AnswerModel):
    """Two lengths and what they do over the band."""

    length_mm: tuple[float, float] = Field(
        description="Centre-line lengths; to 0.1. On one pipe, the first is upstream.",
        json_schema_extra=in_unit("mm"),
    )
    least_loss_dB: float = Field(
        description="Least loss over the band; to 0.01.", json_schema_extra=in_unit("dB")
    )
    loss_dB: list[float] = Field(
        description="Loss over the band; to 0.01.", json_schema_extra=in_unit("dB")
    )


class PairAnswer(AnswerModel):
    """Two branches of this tube: of one length, and staggered as well as can be."""

    rpm: list[float] | None = Field(
        description="Engine speeds of the band; null without an engine; to 0.1.",
        json_schema_extra=in_unit("rpm"),
    )
    frequency_Hz: list[float] = Field(
        description="Tones of the band; to 0.001.", json_schema_extra=in_unit("Hz")
    )
    one_branch_least_loss_dB: float = Field(
        description="Least loss over the band of the best single branch (of one on one of the "
        "two pipes, at most 3 dB); to 0.01.",
        json_schema_extra=in_unit("dB"),
    )
    same_length: PairChoice
    staggered: PairChoice
    stagger_mm: float = Field(
        description="Difference of the staggered lengths; to 0.1.", json_schema_extra=in_unit("mm")
    )
    advice: str = Field(description="In plain words.")
