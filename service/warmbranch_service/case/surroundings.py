"""Air and surfaces around the branch, in a request."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from warmbranch_service.case.around import (
    AIR_TEMPERATURE,
    PLACE_TEXT,
    PLACES,
    UNHEATED_AIR_DEGC,
    AirSpeed,
    HotNeighbour,
    Rear,
    Shield,
)
from warmbranch_service.contract.fields import OneOf, Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import rules
from warmbranch_service.contract.units import PERCENTAGE, PRESSURE, TEMPERATURE


class Surroundings(RequestModel):
    """Air and surfaces around the branch."""

    model_config = rules(
        unsaid={"shield_hides_neighbour": "shield and hot_neighbour are not both given."}
    )

    air_temperature_degC: Annotated[float, AIR_TEMPERATURE] = Field(
        default=20.0,
        description="Air near the branch, not the weather forecast's. Default 20.",
        examples=[18, "65 F"],
    )
    radiant_temperature_degC: Annotated[
        float | None, Quantity("degC", TEMPERATURE, low=-40, high=400, nullable=True)
    ] = Field(
        default=None,
        description="Temperature of what the branch radiates to. Default null: that of the air.",
        examples=[18],
    )
    pressure_kPa: Annotated[float, Quantity("kPa", PRESSURE, low=50, high=200)] = Field(
        default=101.325, description="Ambient pressure. Default 101.325.", examples=[101.325]
    )
    air_speed_m_s: AirSpeed = Field(
        default=0.0, description="Air across the branch. Default 0.", examples=[4, "60 mph"]
    )
    relative_humidity_percent: Annotated[float, Quantity("%", PERCENTAGE, low=0, high=100)] = Field(
        default=50.0,
        description="Of the air that the engine draws at air_temperature_degC. Default 50.",
        examples=[50],
    )
    place: Annotated[str | None, OneOf("place", PLACES, nullable=True)] = Field(
        default=None, description=PLACE_TEXT, examples=["under a moving car"]
    )
    rear: Rear | None = Field(
        default=None,
        description="Other air around the rear of the branch; the rest is then the front's, which "
        "the main pipe stands in. Default null: the same all along.",
    )
    hot_neighbour: HotNeighbour | None = Field(
        default=None,
        description="Something hot that the branch faces, such as the exhaust beside it. Default "
        "null: none.",
    )
    shield: Shield | None = Field(
        default=None, description="A sheet around the branch. Default null: none."
    )

    @property
    def drawn_air_degC(self) -> float:
        """Air that the engine draws: a place warms that around the branch, not this."""
        given = self.place is None or "air_temperature_degC" in self.model_fields_set
        return self.air_temperature_degC if given else UNHEATED_AIR_DEGC

    @model_validator(mode="after")
    def _settle_place(self) -> Surroundings:
        if self.place is not None:
            place = PLACES[self.place]
            usual = {
                "air_temperature_degC": place.air_temperature_degC,
                "air_speed_m_s": place.air_speed,
            }
            for name in usual.keys() - self.model_fields_set:
                object.__setattr__(self, name, usual[name])
        return self

    @model_validator(mode="after")
    def _shield_or_neighbour(self) -> Surroundings:
        if self.shield is not None and self.hot_neighbour is not None:
            raise refusal(
                "shield_hides_neighbour",
                "Behind a shield the branch does not face its hot neighbour.",
                "Leave one of shield and hot_neighbour out.",
                at=["hot_neighbour"],
            )
        return self
