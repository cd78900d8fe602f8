"""How gas, flow and air go in time: for a warm-up, and for readings taken during one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal, cast

from pydantic import Discriminator, Field, Tag, model_validator

from warmbranch.warming.drive import COLD_START_SHARES, COLD_START_TIMES, LONGEST, STOP_TIME
from warmbranch_service.case.schema import MOST_MASS_FLOW_KG_H
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import Said, given, left_out, rules, where
from warmbranch_service.contract.units import MASS_FLOW, PURE_NUMBER, SPEED, TEMPERATURE, TIME

MOST_POINTS = 1000

Moment = Annotated[float, Quantity("s", TIME, low=0, high=LONGEST)]
Lasting = Annotated[float, Quantity("s", TIME, low=0.1, high=LONGEST)]
Gas = Annotated[float, Quantity("degC", TEMPERATURE, low=-40, high=1000)]
Flow = Annotated[float, Quantity("kg/h", MASS_FLOW, low=0, high=MOST_MASS_FLOW_KG_H)]
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


SAID: tuple[tuple[Said, ...], ...] = (
    (left_out("gas_temperature_curve"), left_out("start")),
    (given("gas_temperature_curve"), where(begin={"const": "cold"})),
    (
        left_out("mass_flow_curve"),
        where(start={"anyOf": [{"type": "null"}, where(model={"const": "cold start"})]}),
    ),
)
UNSAID = {
    "curve": "A curve begins at 0 s, goes on in time, and has two points at one time at most."
}
"""Rules of a drive, for whatever is one: see rules.py."""


class DriveGiven(RequestModel):
    """A named start or curves against time."""

    model_config = rules(*SAID, unsaid=UNSAID)

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

    @model_validator(mode="after")
    def _one_gas(self) -> DriveGiven:
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
    def _curves_in_time(self) -> DriveGiven:
        for name in ("gas_temperature_curve", "mass_flow_curve", "air_speed_curve"):
            points = getattr(self, name)
            if points is not None:
                _check_curve(name, [point.time_s for point in points])
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
