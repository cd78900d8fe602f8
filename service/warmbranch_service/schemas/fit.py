"""What ``POST /v1/fit`` takes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from warmbranch.drive import LONGEST
from warmbranch.geometry import ROUNDING, SHORTEST_IN_BORES
from warmbranch.skin_in_time import START_SPREAD
from warmbranch.unknowns import (
    AIR_TEMPERATURE_SPREAD,
    GAS_TEMPERATURE_SPREAD,
    UNKNOWNS,
)
from warmbranch_service.schemas.branch import Surface
from warmbranch_service.schemas.case import Case
from warmbranch_service.schemas.drive import DriveGiven
from warmbranch_service.schemas.fields import OneOf, Quantity, RequestModel, refusal
from warmbranch_service.schemas.rules import (
    WITH_ENGINE,
    given,
    left_out,
    rules,
    together,
    where,
)
from warmbranch_service.schemas.units import (
    FREQUENCY,
    LENGTH,
    PERCENTAGE,
    PURE_NUMBER,
    ROTATION,
    TEMPERATURE,
    TIME,
    Dimension,
)

TEMPERATURE_DIFFERENCE = Dimension(
    "a temperature difference",
    {"K": "kelvin", "degC": "delta_degree_Celsius", "F": "delta_degree_Fahrenheit"},
)
"""20 F of difference are 11.1 K, and 20 °F of temperature are not."""

MOST_READINGS = 100
MOST_HEARD = 20
USUAL = "Default null: 2 K or 2 % of the °C, whichever is more, as makers of hand instruments state"

Position = Annotated[float, Quantity("mm", LENGTH, low=0, high=3000)]
Displayed = Annotated[float, Quantity("degC", TEMPERATURE, low=-50, high=1000)]
Uncertainty = Annotated[
    float | None, Quantity("K", TEMPERATURE_DIFFERENCE, low=0.1, high=100, nullable=True)
]
LEAST_EMISSIVITY = 0.01
"""Of what an infrared thermometer looks at: below, it sees reflections alone."""

Emissivity = Annotated[float, Quantity("1", PURE_NUMBER, low=LEAST_EMISSIVITY, high=1)]
Rotation = Annotated[float, Quantity("rpm", ROTATION, low=50, high=30000)]
Frequency = Annotated[float, Quantity("Hz", FREQUENCY, low=1, high=2000)]
TimeOfReading = Annotated[float | None, Quantity("s", TIME, low=0, high=LONGEST, nullable=True)]
TIME_TEXT = (
    "Since the start of the warm-up that warm_up tells; the reading is then compared with the "
    "warming branch. Default null: everything was settled."
)
POSITION_TEXT = "Along the centre-line, from the mouth to the middle of the spot."


class InfraredReading(RequestModel):
    """One reading of an infrared thermometer, as displayed."""

    model_config = rules(
        (left_out("surface"), left_out("emissivity")),
        (
            left_out("distance_mm", "distance_to_spot"),
            given("distance_mm", "distance_to_spot"),
        ),
    )

    thermometer: Literal["infrared"] = Field(description="It sees the skin.")
    position_mm: Position = Field(description=POSITION_TEXT, examples=[250])
    displayed_degC: Displayed = Field(description="What it showed.", examples=[86.5])
    time_s: TimeOfReading = Field(default=None, description=TIME_TEXT, examples=[120, "5 min"])
    emissivity_set: Emissivity = Field(
        default=0.95, description="What it was set to. Default 0.95.", examples=[0.95]
    )
    surface: Surface = Field(
        default=None,
        description="Name of the surface looked at, such as a patch of matt black paint; see GET "
        "/v1/reference. Readings of one surface share one uncertain emissivity. Default null: the "
        "branch's own.",
        examples=["matt black paint"],
    )
    emissivity: Annotated[
        float | None, Quantity("1", PURE_NUMBER, low=LEAST_EMISSIVITY, high=1, nullable=True)
    ] = Field(
        default=None,
        description="Measured emissivity, 8 to 14 µm, of the surface looked at, in place of its "
        "name; taken as true. Default null.",
        examples=[0.95],
    )
    reflected_degC: Annotated[
        float | None, Quantity("degC", TEMPERATURE, low=-80, high=1000, nullable=True)
    ] = Field(
        default=None,
        description="Temperature of what the surface mirrors, as ASTM E1862 measures it. Default "
        "null: that of the radiant surroundings.",
        examples=[25],
    )
    takes_off_reflection: bool = Field(
        default=True,
        strict=True,
        description="Whether the thermometer reckons with reflected radiation, as most do, at "
        "the air's temperature. Default true.",
    )
    uncertainty_K: Uncertainty = Field(
        default=None, description=f"Standard deviation. {USUAL}.", examples=[2]
    )
    distance_mm: Annotated[
        float | None, Quantity("mm", LENGTH, low=1, high=10000, nullable=True)
    ] = Field(
        default=None,
        description="From the thermometer to the tube. Default null: the spot fits on the tube.",
        examples=[300],
    )
    distance_to_spot: Annotated[
        float | None, Quantity("1", PURE_NUMBER, low=0.5, high=500, nullable=True)
    ] = Field(
        default=None,
        description="The thermometer's ratio, 12 for 12:1; goes with distance_mm. Default null.",
        examples=[12],
    )

    @model_validator(mode="after")
    def _one_surface(self) -> InfraredReading:
        if self.surface is not None and self.emissivity is not None:
            raise refusal(
                "surface_given_twice",
                "Surface and emissivity are both given.",
                "Give the name of a surface or an emissivity, not both.",
                unit="1",
                at=["emissivity"],
                value=self.emissivity,
            )
        if (self.distance_mm is None) != (self.distance_to_spot is None):
            lacking = "distance_mm" if self.distance_mm is None else "distance_to_spot"
            raise refusal(
                "half_a_spot",
                "The size of the spot needs distance and ratio.",
                f"Give {lacking} too, or neither.",
                at=[lacking],
            )
        return self


class ContactReading(RequestModel):
    """One reading of a thermometer that touches the skin."""

    thermometer: Literal["contact"] = Field(description="It touches the skin.")
    position_mm: Position = Field(description=POSITION_TEXT, examples=[250])
    displayed_degC: Displayed = Field(description="What it showed.", examples=[86.5])
    time_s: TimeOfReading = Field(default=None, description=TIME_TEXT, examples=[120, "5 min"])
    uncertainty_K: Uncertainty = Field(
        default=None, description=f"Standard deviation. {USUAL}.", examples=[2]
    )


Reading = Annotated[InfraredReading | ContactReading, Field(discriminator="thermometer")]


class Heard(RequestModel):
    """One engine speed or tone at which the branch was heard to cancel best."""

    model_config = rules(
        (
            together(given("quiet_rpm"), left_out("frequency_Hz", "uncertainty_Hz")),
            together(given("frequency_Hz"), left_out("quiet_rpm", "uncertainty_rpm")),
        )
    )

    quiet_rpm: Annotated[
        float | None, Quantity("rpm", ROTATION, low=50, high=30000, nullable=True)
    ] = Field(
        default=None,
        description="Engine speed. Default null: give this or frequency_Hz.",
        examples=[1800],
    )
    uncertainty_rpm: Annotated[
        float | None, Quantity("rpm", ROTATION, low=0.01, high=10000, nullable=True)
    ] = Field(
        default=None,
        description="Standard deviation of quiet_rpm. Default null: 1 %.",
        examples=[20],
    )
    frequency_Hz: Annotated[
        float | None, Quantity("Hz", FREQUENCY, low=1, high=2000, nullable=True)
    ] = Field(default=None, description="Tone, in place of quiet_rpm. Default null.", examples=[90])
    uncertainty_Hz: Annotated[
        float | None, Quantity("Hz", FREQUENCY, low=0.001, high=1000, nullable=True)
    ] = Field(
        default=None,
        description="Standard deviation of frequency_Hz. Default null: 1 %.",
        examples=[1],
    )
    centreline_length_mm: Annotated[
        float | None, Quantity("mm", LENGTH, above=0, high=3000, nullable=True)
    ] = Field(
        default=None,
        description="Length of the centre-line of the build that was heard, when it was another: "
        "the same branch before or after a cut at the cap. Default null: the case's.",
        examples=[1031],
    )

    @model_validator(mode="after")
    def _one_tone(self) -> Heard:
        if (self.quiet_rpm is None) == (self.frequency_Hz is None):
            raise refusal(
                "no_tone" if self.quiet_rpm is None else "tone_given_twice",
                "A tone heard is either an engine speed or a frequency.",
                "Give quiet_rpm or frequency_Hz, and one of the two.",
                at=["quiet_rpm"],
                value=self.quiet_rpm,
            )
        stray = "uncertainty_Hz" if self.frequency_Hz is None else "uncertainty_rpm"
        if getattr(self, stray) is not None:
            raise refusal(
                "stray_uncertainty",
                "This uncertainty belongs to what is not given.",
                "Give the uncertainty in the unit of the tone.",
                at=[stray],
                value=getattr(self, stray),
            )
        return self


class Unknowns(RequestModel):
    """What is taken as uncertain, and how far."""

    fixed: Annotated[
        list[Annotated[str, OneOf("unknown", UNKNOWNS)]], Field(max_length=len(UNKNOWNS))
    ] = Field(
        default=[],
        description=f"Names of unknowns that are taken as known: {', '.join(UNKNOWNS)}. What the "
        "case fixes is known anyway. Default none.",
        examples=[["gas_temperature"]],
    )
    air_temperature_spread_K: Annotated[
        float, Quantity("K", TEMPERATURE_DIFFERENCE, low=0.001, high=50)
    ] = Field(
        default=AIR_TEMPERATURE_SPREAD,
        description="Standard deviation of the air temperature near the branch. Default "
        f"{AIR_TEMPERATURE_SPREAD:g}; our judgement.",
        examples=[2],
    )
    gas_temperature_spread_percent: Annotated[
        float, Quantity("%", PERCENTAGE, low=0.01, high=50)
    ] = Field(
        default=GAS_TEMPERATURE_SPREAD * 100,
        description="Standard deviation of the main gas temperature's excess over the air. "
        f"Default {GAS_TEMPERATURE_SPREAD * 100:g}; our judgement.",
        examples=[5],
    )
    start_time_spread_percent: Annotated[float, Quantity("%", PERCENTAGE, low=0, high=100)] = Field(
        default=START_SPREAD * 100,
        description="Standard deviation of the time constants of a named start, which readings "
        "with a time_s depend on. 0 takes them as known; a curve always is. Default "
        f"{START_SPREAD * 100:g}; our judgement.",
        examples=[35],
    )


class WarmUp(DriveGiven):
    """The warm-up during which readings were taken, as POST /v1/warmup takes it."""


class FitRequest(RequestModel):
    """A case, what was read and heard, and the tone that is wanted."""

    model_config = rules(
        (
            WITH_ENGINE,
            where(target_rpm={"type": "null"}, heard={"items": left_out("quiet_rpm")}),
        ),
        (left_out("target_rpm"), left_out("target_Hz")),
        unsaid={
            "beyond_the_cap": "position_mm is at most the length of the centre-line.",
            "length_out_of_range": f"A build that was heard is {SHORTEST_IN_BORES:g} bores long "
            "or more.",
            "skin_mirrors": f"case.branch.emissivity is {LEAST_EMISSIVITY:g} or more where an "
            "infrared reading gives neither emissivity nor another surface.",
        },
    )

    case: Case
    readings: Annotated[list[Reading], Field(max_length=MOST_READINGS)] = Field(
        default=[], description="Readings along the branch. Default none."
    )
    warm_up: WarmUp | None = Field(
        default=None,
        description="How gas, flow and air went in time, for readings that carry time_s. Default "
        "null: for those, a cold start to the case's gas temperature.",
        examples=[{"start": {"model": "cold start", "time_constants_s": [30, 240]}}],
    )
    heard: Annotated[list[Heard], Field(max_length=MOST_HEARD)] = Field(
        default=[], description="What was heard, with this build or earlier ones. Default nothing."
    )
    unknowns: Unknowns = Field(
        default=Unknowns(), description="What is uncertain, and how far. Default: everything."
    )
    target_rpm: Annotated[
        float | None, Quantity("rpm", ROTATION, low=50, high=30000, nullable=True)
    ] = Field(
        default=None,
        description="Engine speed that the branch is to cancel, for advice on trimming. Default "
        "null: no advice.",
        examples=[2200],
    )
    target_Hz: Annotated[
        float | None, Quantity("Hz", FREQUENCY, low=1, high=2000, nullable=True)
    ] = Field(
        default=None,
        description="The same as a tone, in place of target_rpm. Default null.",
        examples=[110],
    )

    @model_validator(mode="after")
    def _rpm_needs_an_engine(self) -> FitRequest:
        if self.case.engine is None:
            for place, heard in enumerate(self.heard):
                if heard.quiet_rpm is not None:
                    raise _no_engine(["heard", place, "quiet_rpm"], heard.quiet_rpm)
            if self.target_rpm is not None:
                raise _no_engine(["target_rpm"], self.target_rpm)
        if self.target_rpm is not None and self.target_Hz is not None:
            raise refusal(
                "target_given_twice",
                "The target is given twice.",
                "Give target_rpm or target_Hz.",
                unit="Hz",
                at=["target_Hz"],
                value=self.target_Hz,
            )
        return self

    @model_validator(mode="after")
    def _readings_on_the_branch(self) -> FitRequest:
        length = self.case.branch.centreline_mm
        for place, reading in enumerate(self.readings):
            if reading.position_mm > length:
                raise refusal(
                    "beyond_the_cap",
                    f"The branch ends at {length:.6g} mm.",
                    f"Give a position from 0, the mouth, to {length:.6g} mm, the cap.",
                    unit="mm",
                    at=["readings", place, "position_mm"],
                    value=reading.position_mm,
                )
        return self

    @model_validator(mode="after")
    def _skin_can_be_read(self) -> FitRequest:
        own = self.case.branch.emissivity
        if own is None or own >= LEAST_EMISSIVITY:
            return self
        for place, reading in enumerate(self.readings):
            if isinstance(reading, ContactReading):
                continue
            if reading.surface is None and reading.emissivity is None:
                raise refusal(
                    "skin_mirrors",
                    f"readings[{place}] is an infrared reading of the branch's own skin, which "
                    "sends out nothing that could be read.",
                    f"Give {LEAST_EMISSIVITY:g} or more, or the reading's own emissivity.",
                    unit="1",
                    at=["case", "branch", "emissivity"],
                    value=own,
                )
        return self

    @model_validator(mode="after")
    def _builds_long_enough(self) -> FitRequest:
        shortest = SHORTEST_IN_BORES * self.case.branch.bore_mm
        for place, heard in enumerate(self.heard):
            length = heard.centreline_length_mm
            if length is not None and length < shortest * (1 - ROUNDING):
                raise refusal(
                    "length_out_of_range",
                    "That build is too short for the model, which needs three bores.",
                    f"Give at least {shortest:.6g} mm.",
                    unit="mm",
                    at=["heard", place, "centreline_length_mm"],
                    value=length,
                )
        return self


def _no_engine(at: list[str | int], value: float) -> PydanticCustomError:
    return refusal(
        "no_engine",
        "An engine speed means nothing without an engine.",
        "Give case.engine, or a frequency in Hz.",
        unit="rpm",
        at=at,
        value=value,
    )
