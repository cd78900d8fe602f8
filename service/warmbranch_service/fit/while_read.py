"""What was otherwise while the settled readings were taken, in a request."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from pydantic import Field, model_validator

from warmbranch.fit.standing import STILL
from warmbranch_service.case.around import AIR_SPEED, AIR_TEMPERATURE
from warmbranch_service.case.schema import GasTemperature, MassFlow
from warmbranch_service.contract.fields import RequestModel, refusal
from warmbranch_service.contract.rules import given, rules

FIELDS = ("air_speed_m_s", "air_temperature_degC", "gas_temperature_degC", "mass_flow_kg_h")


class WhileRead(RequestModel):
    """The case's air and gas as they were while the settled readings were taken."""

    model_config = rules(
        tuple(given(name) for name in FIELDS),
        unsaid={
            "mass_flow_out_of_range": "mass_flow_kg_h, or the case's, of gas as hot as it was goes "
            "through the main pipe no faster than sound."
        },
    )

    air_speed_m_s: Annotated[float | None, replace(AIR_SPEED, nullable=True)] = Field(
        default=None,
        description=f"Air across the branch: {STILL:g} under a car that stood still, the "
        "case's own where it was read in the very wind of the case. Where it is another, a rear "
        "with air of its own has no more of it. Default null: the case's.",
        examples=[STILL, "1 mph"],
    )
    air_temperature_degC: Annotated[float | None, replace(AIR_TEMPERATURE, nullable=True)] = Field(
        default=None,
        description="Air near the branch. What the branch radiates to goes with it, as far as the "
        "case leaves that open. Default null: the case's.",
        examples=[30, "86 F"],
    )
    gas_temperature_degC: GasTemperature = Field(
        default=None,
        description="Gas temperature at the mouth, as at idle. Default null: the case's, given or "
        "worked out.",
        examples=[180, "360 F"],
    )
    mass_flow_kg_h: MassFlow = Field(
        default=None,
        description="Gas through the main pipe, slower than sound. Default null: the case's, "
        "given, by its engine or assumed.",
        examples=[20],
    )

    @model_validator(mode="after")
    def _something_told(self) -> WhileRead:
        if all(getattr(self, name) is None for name in FIELDS):
            raise refusal(
                "nothing_told",
                "Nothing is told of how it was while the readings were taken.",
                f"Give one at least of {', '.join(FIELDS)}, or leave while_read out.",
                unit="m/s",
                at=["air_speed_m_s"],
            )
        return self
