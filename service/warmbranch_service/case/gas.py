"""The main pipe's gas, as a request gives it."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import Discriminator, Field, Tag, model_validator

from warmbranch.gas.combustion import AIR, FUELS, LEANEST, RICHEST
from warmbranch.gas.gas import SPECIES, SUM_TOLERANCE
from warmbranch_service.contract.fields import OneOf, Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import rules
from warmbranch_service.contract.units import PURE_NUMBER


class BurntGas(RequestModel):
    """Gas that leaves an engine, or air."""

    fuel: Annotated[str, OneOf("fuel", (*FUELS, AIR))] = Field(
        description=f"Name of a fuel from GET /v1/reference, or {AIR!r}.", examples=["petrol"]
    )
    excess_air_ratio: Annotated[float, Quantity("1", PURE_NUMBER, low=RICHEST, high=LEANEST)] = (
        Field(
            default=1.0,
            description="Air over the air that just burns the fuel (lambda). Default 1. Of no "
            f"effect for {AIR!r}.",
            examples=[1.0, 3.0],
        )
    )


class MixedGas(RequestModel):
    """Gas of given composition."""

    model_config = rules(unsaid={"sum_of_shares": "The mole fractions sum to 1."})

    mole_fractions: dict[
        Annotated[str, OneOf("gas", SPECIES)],
        Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1)],
    ] = Field(
        description=f"Shares by volume of {', '.join(SPECIES)}; they sum to 1.",
        examples=[{"N2": 0.79, "O2": 0.21}],
        json_schema_extra={"x-unit": "1", "maxProperties": len(SPECIES)},
    )

    @model_validator(mode="after")
    def _sums_to_one(self) -> MixedGas:
        total = math.fsum(self.mole_fractions.values())
        if abs(total - 1) > SUM_TOLERANCE:
            raise refusal(
                "sum_of_shares",
                f"The mole fractions sum to {total:.6g}, not to 1.",
                "Give every gas that is there, so that the shares sum to 1.",
                unit="1",
                at=["mole_fractions"],
                value=total,
            )
        return self


def _gas_kind(value: Any) -> str:
    mixed = isinstance(value, MixedGas) or (isinstance(value, dict) and "mole_fractions" in value)
    return "mixed" if mixed else "burnt"


Gas = Annotated[
    Annotated[BurntGas, Tag("burnt")] | Annotated[MixedGas, Tag("mixed")],
    Discriminator(_gas_kind),
]
