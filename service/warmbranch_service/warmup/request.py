"""What ``POST /v1/warmup`` takes."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from warmbranch.warming.drive import LONGEST
from warmbranch_service.case.branch import LONGEST_MM
from warmbranch_service.case.schema import MOST_MASS_FLOW_KG_H, Case
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import WITH_ENGINE, left_out, rules
from warmbranch_service.contract.units import (
    FREQUENCY,
    LENGTH,
    MASS_FLOW,
    PURE_NUMBER,
    ROTATION,
    TEMPERATURE,
    TIME,
)
from warmbranch_service.warmup import drive
from warmbranch_service.warmup.drive import AirSpeed, DriveGiven, Gas, Moment

LONGEST_MIN = LONGEST / 60
MOST_TIMES = 10_000
MOST_POSITIONS = 20
MOST_CONDITIONS = 300
DEFAULT_TIMES = 121
DEFAULT_AIR = (-20.0, -5.0, 10.0, 25.0, 45.0)


class Load(RequestModel):
    """One load of the engine."""

    gas_temperature_degC: Gas = Field(description="At the mouth.", examples=[260])
    mass_flow_kg_h: Annotated[
        float | None, Quantity("kg/h", MASS_FLOW, low=0, high=MOST_MASS_FLOW_KG_H, nullable=True)
    ] = Field(default=None, description="Default null: the case's.", examples=[60])
    weight: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1000)] = Field(
        default=1.0, description="How much it counts. Default 1.", examples=[1]
    )


class ConditionsWanted(RequestModel):
    """Weather, load and air speed over which the branch is to serve."""

    model_config = rules(
        unsaid={
            "too_many_conditions": f"The lists make {MOST_CONDITIONS} conditions or fewer, each "
            "with each."
        }
    )

    air_temperatures_degC: Annotated[
        list[Annotated[float, Quantity("degC", TEMPERATURE, low=-40, high=60)]],
        Field(min_length=1, max_length=30),
    ] = Field(
        default=list(DEFAULT_AIR),
        description=f"Default {', '.join(f'{t:g}' for t in DEFAULT_AIR)}.",
        examples=[[-20, 0, 20, 45]],
        json_schema_extra={"x-unit": "degC"},
    )
    loads: Annotated[list[Load], Field(min_length=1, max_length=30)] | None = Field(
        default=None, description="Default null: the case's own load."
    )
    air_speeds_m_s: Annotated[list[AirSpeed], Field(min_length=1, max_length=30)] | None = Field(
        default=None,
        description="Default null: the case's own.",
        examples=[[0, 10, 30]],
        json_schema_extra={"x-unit": "m/s"},
    )

    @model_validator(mode="after")
    def _not_too_many(self) -> ConditionsWanted:
        count = (
            len(self.air_temperatures_degC)
            * len(self.loads or [None])
            * len(self.air_speeds_m_s or [None])
        )
        if count > MOST_CONDITIONS:
            raise refusal(
                "too_many_conditions",
                f"The lists make {count} conditions.",
                f"Give at most {MOST_CONDITIONS}.",
                at=["air_temperatures_degC"],
                value=count,
            )
        return self


class _Followed(RequestModel):
    """A case and how long to follow it."""

    case: Case
    duration_min: Annotated[float, Quantity("min", TIME, low=0.01, high=LONGEST_MIN)] = Field(
        default=20.0, description="How long to follow it. Default 20.", examples=[20]
    )


class WarmupRequest(DriveGiven, _Followed):
    """A case, and how gas, flow and air go in time."""

    model_config = rules(
        *drive.SAID,
        (WITH_ENGINE, left_out("driven_rpm")),
        (left_out("driven_rpm"), left_out("driven_frequency_Hz")),
        unsaid={
            **drive.UNSAID,
            "output_times": "output_times_s rise, and end with the duration at the latest.",
            "beyond_the_cap": "positions_mm are at most the length of the centre-line.",
        },
    )

    output_times_s: Annotated[list[Moment], Field(min_length=1, max_length=MOST_TIMES)] | None = (
        Field(
            default=None,
            description=f"When to report, rising. Default null: {DEFAULT_TIMES} times, evenly.",
            examples=[[0, 60, 120, 300, 600, 1200]],
            json_schema_extra={"x-unit": "s"},
        )
    )
    positions_mm: (
        Annotated[
            list[Annotated[float, Quantity("mm", LENGTH, low=0, high=LONGEST_MM)]],
            Field(min_length=1, max_length=MOST_POSITIONS),
        ]
        | None
    ) = Field(
        default=None,
        description="Where to report skin and gas, from the mouth. Default null: a tenth of the "
        "length, its middle and the cap.",
        examples=[[50, 200, 600]],
        json_schema_extra={"x-unit": "mm"},
    )
    driven_rpm: Annotated[
        float | None, Quantity("rpm", ROTATION, low=50, high=30000, nullable=True)
    ] = Field(
        default=None,
        description="Engine speed at which to report the transmission loss. Default null: the "
        "warm quiet rpm.",
        examples=[2400],
    )
    driven_frequency_Hz: Annotated[
        float | None, Quantity("Hz", FREQUENCY, low=1, high=2000, nullable=True)
    ] = Field(default=None, description="The same as a frequency. Default null.", examples=[80])
    intervals: bool = Field(
        default=True,
        strict=True,
        description="Whether to work out intervals where the case holds a calibration; without "
        "them the answer comes sooner. Default true.",
    )
    conditions: ConditionsWanted | None = Field(
        default=None,
        description="Also the steady quiet rpm over weather, load and air speed, and the length "
        "that bears them best. Default null: none.",
    )

    @property
    def duration_s(self) -> float:
        """Duration in seconds."""
        return self.duration_min * 60

    @model_validator(mode="after")
    def _times(self) -> WarmupRequest:
        previous = 0.0
        for place, time in enumerate(self.output_times_s or []):
            if time < previous or time > self.duration_s:
                raise refusal(
                    "output_times",
                    "Times to report must rise and end with the duration.",
                    f"Give rising times from 0 to {self.duration_s:g} s.",
                    unit="s",
                    at=["output_times_s", place],
                    value=time,
                )
            previous = time
        return self

    @model_validator(mode="after")
    def _places_and_tone(self) -> WarmupRequest:
        length = self.case.branch.centreline_mm
        for place, position in enumerate(self.positions_mm or []):
            if position > length:
                raise refusal(
                    "beyond_the_cap",
                    f"The branch is {length:.6g} mm long.",
                    f"Give a position from 0 to {length:.6g} mm.",
                    unit="mm",
                    at=["positions_mm", place],
                    value=position,
                )
        if self.driven_rpm is not None and (
            self.case.engine is None or self.driven_frequency_Hz is not None
        ):
            twice = self.driven_frequency_Hz is not None
            raise refusal(
                "driven_given_twice" if twice else "no_engine",
                "The driven tone is given twice."
                if twice
                else "An engine speed means nothing without an engine.",
                "Give driven_rpm or driven_frequency_Hz, not both."
                if twice
                else "Give case.engine, or driven_frequency_Hz.",
                unit="rpm",
                at=["driven_rpm"],
                value=self.driven_rpm,
            )
        return self
