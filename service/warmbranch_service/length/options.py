"""What ``POST /v1/length`` may be told of building, cutting, placing and pairing."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from warmbranch.length.build_long import CHANCE_TOO_SHORT
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import given, left_out, rules
from warmbranch_service.contract.units import (
    FREQUENCY,
    LENGTH,
    PERCENTAGE,
    PURE_NUMBER,
    ROTATION,
    TEMPERATURE,
)

LONGEST_PIPE_MM = 20000.0
BEND_IN_DIAMETERS = 1.5
"""Usual centre-line radius of mandrel bends over the tube's diameter. Common practice, no
source."""

DEFAULT_SPACING_MM = 300.0

AlongPipe = Annotated[float, Quantity("mm", LENGTH, low=0, high=LONGEST_PIPE_MM)]


class Build(RequestModel):
    """How long to build, and in what steps to trim."""

    chance_too_short_percent: Annotated[float, Quantity("%", PERCENTAGE, low=0.5, high=50)] = Field(
        default=CHANCE_TOO_SHORT * 100,
        description="Chance that the branch as built is shorter than the right one. Default "
        f"{CHANCE_TOO_SHORT * 100:g}.",
        examples=[5],
    )
    weld_allowance_mm: Annotated[float, Quantity("mm", LENGTH, low=0, high=50)] = Field(
        default=2.0,
        description="Added for what the weld at the mouth may draw in. Default 2.",
        examples=[2],
    )
    cap_allowance_mm: Annotated[float, Quantity("mm", LENGTH, low=0, high=50)] = Field(
        default=1.0,
        description="Added for what the cap's weld and a cut that is not square may take. "
        "Default 1.",
        examples=[1],
    )
    trim_step_mm: Annotated[float, Quantity("mm", LENGTH, low=0.5, high=100)] = Field(
        default=5.0,
        description="From one cut to the next; widened to keep to 60 cuts. Default 5.",
        examples=[5],
    )


class Cutting(RequestModel):
    """Tube, saw and bends at hand."""

    kerf_mm: Annotated[float, Quantity("mm", LENGTH, low=0, high=10)] = Field(
        default=1.5, description="Lost by each cut. Default 1.5.", examples=[1.5]
    )
    bar_mm: Annotated[float, Quantity("mm", LENGTH, low=100, high=12000)] = Field(
        default=6000.0, description="Length of a bar of tube as bought. Default 6000.",
        examples=[3000],
    )  # fmt: skip
    bend_radius_mm: Annotated[
        float | None, Quantity("mm", LENGTH, above=0, high=1000, nullable=True)
    ] = Field(
        default=None,
        description="Centre-line radius of the bends at hand, for foldings. Default null: "
        f"{BEND_IN_DIAMETERS:g} outside diameters.",
        examples=[72],
    )


class LengthPlace(RequestModel):
    """The main pipe, as far as it matters; positions are measured from its open end."""

    model_config = rules(
        unsaid={
            "position_off_the_pipe": "Positions are at most pipe_length_mm.",
            "stretch_falls": "free_to_mm is above free_from_mm.",
        }
    )

    pipe_length_mm: Annotated[float, Quantity("mm", LENGTH, low=100, high=LONGEST_PIPE_MM)] = Field(
        description="From the open end to where the pipe begins: silencer, engine, or as far as "
        "the branch might go.",
        examples=[3200],
    )
    position_mm: Annotated[
        float | None, Quantity("mm", LENGTH, low=0, high=LONGEST_PIPE_MM, nullable=True)
    ] = Field(
        default=None,
        description="Where the branch is to sit. Default null: only where it would work best.",
        examples=[1400],
    )
    free_from_mm: AlongPipe = Field(
        default=0.0,
        description="Begin of the stretch in which the branch may sit. Default 0, the open end.",
        examples=[600],
    )
    free_to_mm: Annotated[
        float | None, Quantity("mm", LENGTH, above=0, high=LONGEST_PIPE_MM, nullable=True)
    ] = Field(
        default=None,
        description="End of that stretch. Default null: pipe_length_mm.",
        examples=[2400],
    )
    far_end: Literal["no reflection", "closed", "volume"] = Field(
        default="no reflection",
        description="What the pipe begins at: nothing that is known to reflect; valves or a "
        "turbine, nearly closed; a silencer's chamber. Default no reflection.",
    )
    open_end_gas_temperature_degC: Annotated[
        float | None, Quantity("degC", TEMPERATURE, low=-40, high=1000, nullable=True)
    ] = Field(
        default=None,
        description="Gas where it leaves. Default null: as hot as at the mouth of the branch.",
        examples=[240],
    )

    @property
    def free_mm(self) -> tuple[float, float]:
        """The stretch in which the branch may sit."""
        end = self.free_to_mm
        return self.free_from_mm, self.pipe_length_mm if end is None else end

    @model_validator(mode="after")
    def _on_the_pipe(self) -> LengthPlace:
        for name in ("position_mm", "free_from_mm", "free_to_mm"):
            value = getattr(self, name)
            if value is not None and value > self.pipe_length_mm:
                raise refusal(
                    "position_off_the_pipe",
                    f"{value:g} mm from the open end lies beyond the pipe's "
                    f"{self.pipe_length_mm:g} mm.",
                    f"Give at most {self.pipe_length_mm:g} mm, or a longer pipe.",
                    unit="mm",
                    at=[name],
                    value=value,
                )
        low, high = self.free_mm
        if high <= low:
            raise refusal(
                "stretch_falls",
                f"The free stretch ends at {high:g} mm, not beyond its begin.",
                f"Give a number above {low:g} mm.",
                unit="mm",
                at=["free_to_mm"],
                value=high,
            )
        return self


class TwoBranches(RequestModel):
    """Two branches of the same tube, of one length or staggered."""

    model_config = rules(
        (left_out("band_from_rpm", "band_to_rpm"), given("band_from_rpm", "band_to_rpm")),
        (left_out("band_from_Hz", "band_to_Hz"), given("band_from_Hz", "band_to_Hz")),
        (left_out("band_from_rpm"), left_out("band_from_Hz")),
        unsaid={
            "band_falls": "The band ends above its beginning.",
            "band_out_of_reach": "Some admissible length of this tube resonates near the band.",
        },
    )

    arrangement: Literal["same pipe", "one on each of two pipes"] = Field(
        default="same pipe",
        description="Both on the main pipe, or one on each of two such pipes that carry half of "
        "the sound each. Default same pipe.",
    )
    branches: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1000)] = Field(
        default=2.0,
        description="How many; two is the most. Default 2.",
        examples=[2],
        json_schema_extra={"minimum": 2, "maximum": 2},  # the check refuses others in kinder words
    )
    spacing_mm: AlongPipe = Field(
        default=DEFAULT_SPACING_MM,
        description="Between the mouths along the pipe; of no effect on two pipes. Default "
        f"{DEFAULT_SPACING_MM:g}.",
        examples=[300],
    )
    band_from_rpm: Annotated[
        float | None, Quantity("rpm", ROTATION, low=50, high=30000, nullable=True)
    ] = Field(
        default=None,
        description="Lowest engine speed of the band to be quietened. Default null: 10 % below "
        "the target.",
        examples=[2100],
    )
    band_to_rpm: Annotated[
        float | None, Quantity("rpm", ROTATION, low=50, high=30000, nullable=True)
    ] = Field(
        default=None,
        description="Highest engine speed of the band. Default null: 10 % above the target.",
        examples=[2600],
    )
    band_from_Hz: Annotated[
        float | None, Quantity("Hz", FREQUENCY, low=1, high=2000, nullable=True)
    ] = Field(
        default=None, description="Lowest tone, in place of an engine speed. Default null.",
        examples=[70],
    )  # fmt: skip
    band_to_Hz: Annotated[
        float | None, Quantity("Hz", FREQUENCY, low=1, high=2000, nullable=True)
    ] = Field(
        default=None, description="Highest tone, in place of an engine speed. Default null.",
        examples=[87],
    )  # fmt: skip

    @model_validator(mode="after")
    def _two_at_most(self) -> TwoBranches:
        if self.branches != 2:
            many = self.branches > 2
            raise refusal(
                "more_than_two_branches" if many else "not_two_branches",
                f"{self.branches:g} branches are asked for.",
                "Give 2; a third adds little that two staggered ones lack. Work them out in pairs."
                if many
                else "Give 2, or leave two_branches out for one.",
                unit="1",
                at=["branches"],
                value=self.branches,
            )
        return self

    @model_validator(mode="after")
    def _a_band(self) -> TwoBranches:
        for unit in ("rpm", "Hz"):
            low, high = getattr(self, f"band_from_{unit}"), getattr(self, f"band_to_{unit}")
            if (low is None) != (high is None):
                raise refusal(
                    "half_a_band",
                    "A band needs both ends.",
                    f"Give band_from_{unit} and band_to_{unit}, or neither.",
                    unit=unit,
                    at=[f"band_{'from' if low is None else 'to'}_{unit}"],
                )
            if low is not None and high <= low:
                raise refusal(
                    "band_falls",
                    f"The band ends at {high:g} {unit}, not above its beginning.",
                    f"Give a number above {low:g} {unit}.",
                    unit=unit,
                    at=[f"band_to_{unit}"],
                    value=high,
                )
        if self.band_from_rpm is not None and self.band_from_Hz is not None:
            raise refusal(
                "two_bands",
                "The band is given twice.",
                "Give it in rpm or in Hz, not both.",
                unit="Hz",
                at=["band_from_Hz"],
                value=self.band_from_Hz,
            )
        return self
