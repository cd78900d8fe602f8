"""What ``POST /v1/warmup`` takes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal, cast

from pydantic import Discriminator, Field, Tag, model_validator

from warmbranch.drive import COLD_START_SHARES, COLD_START_TIMES, LONGEST, STOP_TIME
from warmbranch_service.schemas.case import Case
from warmbranch_service.schemas.fields import Quantity, RequestModel, refusal
from warmbranch_service.schemas.units import (
    FREQUENCY,
    LENGTH,
    MASS_FLOW,
    PURE_NUMBER,
    ROTATION,
    SPEED,
    TEMPERATURE,
    TIME,
)

LONGEST_MIN = LONGEST / 60
MOST_TIMES = 10_000
MOST_POINTS = 1000
MOST_POSITIONS = 20
MOST_CONDITIONS = 300
DEFAULT_TIMES = 121
DEFAULT_AIR = (-20.0, -5.0, 10.0, 25.0, 45.0)

Moment = Annotated[float, Quantity("s", TIME, low=0, high=LONGEST)]
Lasting = Annotated[float, Quantity("s", TIME, low=0.1, high=LONGEST)]
Gas = Annotated[float, Quantity("degC", TEMPERATURE, low=-40, high=1000)]
Flow = Annotated[float, Quantity("kg/h", MASS_FLOW, low=0, high=3000)]
AirSpeed = Annotated[float, Quantity("m/s", SPEED, low=0, high=60)]
MOMENT_TEXT = "From the start on. Two points at one time are a jump."


class GasPoint(RequestModel):
    """Gas temperature at the mouth at one moment; straight lines join the points."""

    time_s: Moment = Field(description=MOMENT_TEXT, examples=[0, "2 min"])
    gas_temperature_degC: Gas = Field(description="At the mouth.", examples=[310])


class FlowPoint(RequestModel):
    """Mass flow in the main pipe at one moment; straight lines join the points."""

    time_s: Moment = Field(description=MOMENT_TEXT, examples=[0])
    mass_flow_kg_h: Flow = Field(description="0 when the engine has stopped.", examples=[95])


class AirPoint(RequestModel):
    """Air across the branch at one moment; straight lines join the points."""

    time_s: Moment = Field(description=MOMENT_TEXT, examples=[0])
    air_speed_m_s: AirSpeed = Field(description="Air speed.", examples=[4, "60 mph"])


class ColdStart(RequestModel):
    """The gas rises from the air's temperature to main_pipe.gas_temperature_degC."""

    model: Literal["cold start"] = Field(default="cold start", description="This start.")
    time_constants_s: Annotated[list[Lasting], Field(min_length=1, max_length=2)] = Field(
        default=list(COLD_START_TIMES),
        description="One or two time constants of the rise. Default "
        f"{', '.join(f'{t:g}' for t in COLD_START_TIMES)}: an assumption, the engine's gas itself "
        "and the metal upstream that takes heat from it.",
        examples=[[30, 240]],
        json_schema_extra={"x-unit": "s"},
    )
    first_share: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1)] = Field(
        default=COLD_START_SHARES[0],
        description="Share of the rise that goes with the first of two time constants. Default "
        f"{COLD_START_SHARES[0]:g}, an assumption.",
        examples=[0.6],
    )


class EngineStop(RequestModel):
    """Warm through, then no flow: the gas at the mouth falls to the air's temperature."""

    model: Literal["engine stop"] = Field(description="This start.")
    time_constant_s: Lasting = Field(
        default=STOP_TIME,
        description=f"Of the fall. Default {STOP_TIME:g}: an assumption, that of the pipe around.",
        examples=[600],
    )


def _start_kind(value: Any) -> str:
    if isinstance(value, EngineStop):
        return "engine stop"
    if isinstance(value, dict):
        model = cast("dict[str, Any]", value).get("model", "cold start")
        return model if isinstance(model, str) else "cold start"
    return "cold start"


Start = Annotated[
    Annotated[ColdStart, Tag("cold start")] | Annotated[EngineStop, Tag("engine stop")],
    Discriminator(_start_kind),
]


class Load(RequestModel):
    """One load of the engine."""

    gas_temperature_degC: Gas = Field(description="At the mouth.", examples=[260])
    mass_flow_kg_h: Annotated[
        float | None, Quantity("kg/h", MASS_FLOW, low=0, high=3000, nullable=True)
    ] = Field(default=None, description="Default null: the case's.", examples=[60])
    weight: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1000)] = Field(
        default=1.0, description="How much it counts. Default 1.", examples=[1]
    )


class ConditionsWanted(RequestModel):
    """Weather, load and air speed over which the branch is to serve."""

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


class WarmupRequest(RequestModel):
    """A case, and how gas, flow and air go in time."""

    case: Case
    duration_min: Annotated[float, Quantity("min", TIME, above=0, high=LONGEST_MIN)] = Field(
        default=20.0, description="How long to follow it. Default 20.", examples=[20]
    )
    gas_temperature_curve: (
        Annotated[list[GasPoint], Field(min_length=1, max_length=MOST_POINTS)] | None
    ) = Field(
        default=None,
        description="Gas temperature at the mouth, from 0 s on; behind its end it stays. Give "
        "this or start; the default, neither, is a cold start.",
    )
    start: Start | None = Field(
        default=None,
        description="A named start in place of gas_temperature_curve. Default: a cold start.",
    )
    mass_flow_curve: (
        Annotated[list[FlowPoint], Field(min_length=1, max_length=MOST_POINTS)] | None
    ) = Field(default=None, description="Default null: the case's flow throughout.")
    air_speed_curve: (
        Annotated[list[AirPoint], Field(min_length=1, max_length=MOST_POINTS)] | None
    ) = Field(default=None, description="Default null: the case's air speed throughout.")
    begin: Literal["cold", "warm"] = Field(
        default="cold",
        description="With a curve: whether the metal begins at the air's temperature (the "
        "default) or as warm as the case's steady answer.",
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
            list[Annotated[float, Quantity("mm", LENGTH, low=0, high=3000)]],
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
    def _one_gas(self) -> WarmupRequest:
        if self.gas_temperature_curve is not None and self.start is not None:
            raise refusal(
                "gas_given_twice",
                "The gas temperature is given by a curve and by a named start.",
                "Give gas_temperature_curve or start, not both.",
                at=["start"],
            )
        if self.gas_temperature_curve is None and self.begin == "warm":
            raise refusal(
                "begin_without_curve",
                "A named start says itself how the metal begins.",
                "Leave begin out, or give gas_temperature_curve, or the start engine stop.",
                at=["begin"],
                value=self.begin,
            )
        if isinstance(self.start, EngineStop) and self.mass_flow_curve is not None:
            raise refusal(
                "flow_given_twice",
                "An engine that has stopped has no mass flow, and a curve is given.",
                "Leave mass_flow_curve out, or draw gas_temperature_curve too.",
                at=["mass_flow_curve"],
            )
        return self

    @model_validator(mode="after")
    def _times(self) -> WarmupRequest:
        for name in ("gas_temperature_curve", "mass_flow_curve", "air_speed_curve"):
            points = getattr(self, name)
            if points is not None:
                _check_curve(name, [point.time_s for point in points])
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


def _check_curve(name: str, times: Sequence[float]) -> None:
    def refuse(code: Literal["curve"], place: int, detail: str, remedy: str) -> None:
        raise refusal(
            code, detail, remedy, unit="s", at=[name, place, "time_s"], value=times[place]
        )

    if times[0] != 0:
        refuse("curve", 0, "The curve begins after the start.", "Give its first point at 0 s.")
    for place in range(1, len(times)):
        if times[place] < times[place - 1]:
            refuse("curve", place, "The curve goes back in time.", "Order its points by time.")
        if place > 1 and times[place] == times[place - 2]:
            refuse(
                "curve",
                place,
                "The curve has three points at one time.",
                "Give at most two: a jump.",
            )
