"""The water that condenses: its part of an answer."""

from __future__ import annotations

from pydantic import Field

from warmbranch_service.contract.fields import AnswerModel, in_unit


class CondensedWater(AnswerModel):
    """Water that condenses in the branch once it is warm, at the temperatures told; good to a
    factor of some 1.5, as what carries vapour and heat alike is."""

    rate_g_h: float = Field(
        description="Grams an hour, all along; three digits.", json_schema_extra=in_unit("g/h")
    )
    from_position_mm: float = Field(
        description="Where it begins, from the mouth; to 0.01.", json_schema_extra=in_unit("mm")
    )
    latent_heat_W: float = Field(
        description="Heat that it sets free and gives to the wall; three digits.",
        json_schema_extra=in_unit("W"),
    )
    vapour_at_cap_percent: float = Field(
        description="Of the moles of the gas at the cap, which has dried on its way; to 0.1.",
        json_schema_extra=in_unit("%"),
    )
    fills_mm_h: float | None = Field(
        description="Length of tube that it fills an hour, from the cap on, where the branch falls "
        "from its mouth and nothing drains it; three digits. Null where it does not fall.",
        json_schema_extra=in_unit("mm/h"),
        examples=[6.4],
    )
