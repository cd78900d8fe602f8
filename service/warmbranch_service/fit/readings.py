"""Readings of a thermometer and tones heard, as ``POST /v1/fit`` takes them."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self, cast

from pydantic import Field, ModelWrapValidatorHandler, PrivateAttr, model_validator

from warmbranch.warming.drive import LONGEST
from warmbranch_service.case.branch import LONGEST_MM, Surface
from warmbranch_service.case.shop import ThermometerName
from warmbranch_service.case.skin_reading import (
    LEAST_EMISSIVITY,
    MEASURED_TEXT,
    MeasuredEmissivity,
    refuse_two_surfaces,
)
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import given, left_out, rules, together
from warmbranch_service.contract.units import (
    FREQUENCY,
    LENGTH,
    PURE_NUMBER,
    ROTATION,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    TIME,
)

FAHRENHEIT = re.compile(r"f\s*$|fahrenheit", re.IGNORECASE)

MOST_READINGS = 100
MOST_HEARD = 20
USUAL = "Default null: 2 K or 2 % of the °C, whichever is more, as makers of hand instruments state"

Position = Annotated[float, Quantity("mm", LENGTH, low=0, high=LONGEST_MM)]
Displayed = Annotated[float, Quantity("degC", TEMPERATURE, low=-50, high=1000)]
Uncertainty = Annotated[
    float | None, Quantity("K", TEMPERATURE_DIFFERENCE, low=0.1, high=100, nullable=True)
]
Emissivity = Annotated[float, Quantity("1", PURE_NUMBER, low=LEAST_EMISSIVITY, high=1)]
TimeOfReading = Annotated[float | None, Quantity("s", TIME, low=0, high=LONGEST, nullable=True)]
TIME_TEXT = (
    "Since the start of the warm-up that warm_up tells; the reading is then compared with the "
    "warming branch. Default null: as the request's time_s says."
)
NAME_TEXT = (
    "Which very thermometer it was, in your words: readings of one name share what it shows too "
    "much, also over the jobs of POST /v1/learn. Default null: the one that all such readings of "
    "this job share."
)
POSITION_TEXT = "Along the centre-line, from the mouth to the middle of the spot."


class _Displayed(RequestModel):
    """Remembers in which unit the display was written, for what it may have been taken for."""

    _in_fahrenheit: bool = PrivateAttr(default=False)

    @property
    def in_fahrenheit(self) -> bool:
        """Whether ``displayed_degC`` was written with °F as its own unit."""
        return self._in_fahrenheit

    @model_validator(mode="wrap")
    @classmethod
    def _unit(cls, given: Any, validated: ModelWrapValidatorHandler[Self]) -> Self:
        found = validated(given)
        if isinstance(given, dict):
            shown = cast("dict[str, object]", given).get("displayed_degC")
            found._in_fahrenheit = isinstance(shown, str) and FAHRENHEIT.search(shown) is not None
        return found


class InfraredReading(_Displayed):
    """One reading of an infrared thermometer, as displayed."""

    model_config = rules(
        (left_out("surface"), left_out("emissivity")),
        (
            left_out("distance_mm", "distance_to_spot"),
            given("distance_mm", "distance_to_spot"),
        ),
    )

    thermometer: Literal["infrared"] = Field(description="It sees the skin.")
    thermometer_name: ThermometerName | None = Field(
        default=None, description=NAME_TEXT, examples=["the yellow one"]
    )
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
    emissivity: MeasuredEmissivity = Field(default=None, description=MEASURED_TEXT, examples=[0.95])
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
        refuse_two_surfaces(self.surface, self.emissivity)
        if (self.distance_mm is None) != (self.distance_to_spot is None):
            lacking = "distance_mm" if self.distance_mm is None else "distance_to_spot"
            raise refusal(
                "half_a_spot",
                "The size of the spot needs distance and ratio.",
                f"Give {lacking} too, or neither.",
                at=[lacking],
            )
        return self


class ContactReading(_Displayed):
    """One reading of a thermometer that touches the skin."""

    thermometer: Literal["contact"] = Field(description="It touches the skin.")
    thermometer_name: ThermometerName | None = Field(
        default=None, description=NAME_TEXT, examples=["the yellow one"]
    )
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
        float | None, Quantity("mm", LENGTH, above=0, high=LONGEST_MM, nullable=True)
    ] = Field(
        default=None,
        description="Length of the centre-line of the build that was heard, when it was another: "
        "the same branch before or after a cut at the cap. Default null: the case's.",
        examples=[1031],
    )

    time_s: TimeOfReading = Field(
        default=None,
        description="Since the start of the warm-up that warm_up tells; the tone is then compared "
        "with that of the warming branch. Default null: as the request's time_s says.",
        examples=[600, "10 min"],
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
