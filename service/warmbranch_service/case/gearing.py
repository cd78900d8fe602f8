"""From a road speed to an engine speed: the gears and the wheel, as a user gives them."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import Field, model_validator

from warmbranch.case.road_speed import engine_speed_on_road, rolling_circumference, tyre_diameter
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import given, left_out, rules, together
from warmbranch_service.contract.units import LENGTH, PURE_NUMBER, SPEED

Ratio = Annotated[float, Quantity("1", PURE_NUMBER, low=0.1, high=20)]

TYRE_PATTERN = (
    r"^ *([1-9][0-9]{2}) */ *([1-9][0-9]) *[zZ]?[rR]? *([1-9][0-9](?:\.5)?)"
    r"(?: [ -~]{0,20})?$"
)
"""Width, aspect ratio, rim; behind a space may stand the load index and the like."""

MM, INCH = 1e-3, 0.0254


class RoadSpeed(RequestModel):
    """A road speed, which gears and wheel turn into an engine speed."""

    model_config = rules(
        (
            together(given("tyre"), left_out("rolling_circumference_mm")),
            together(given("rolling_circumference_mm"), left_out("tyre")),
        )
    )

    road_speed_m_s: Annotated[float, Quantity("m/s", SPEED, low=1, high=120)] = Field(
        description="Road speed.", examples=[30.6, "110 km/h"]
    )
    gear_ratio: Ratio = Field(
        description="Engine turns for one of the gearbox's output, in the gear driven.",
        examples=[0.8],
    )
    final_drive_ratio: Ratio = Field(
        description="Gearbox turns for one of the wheel; 1 if gear_ratio holds all.",
        examples=[4.06],
    )
    tyre: Annotated[str, Field(max_length=40)] | None = Field(
        default=None,
        description='Size as it stands on the side of the tyre: "205/55 R16". Default null: '
        "rolling_circumference_mm is given.",
        examples=["205/55 R16"],
        json_schema_extra={"pattern": TYRE_PATTERN},  # holds for strings only, so not for null
    )
    rolling_circumference_mm: Annotated[
        float | None, Quantity("mm", LENGTH, low=300, high=6000, nullable=True)
    ] = Field(
        default=None,
        description="Way that the driven wheel rolls in one turn, as measured. Default null: "
        "from the tyre's size.",
        examples=[1927],
    )

    @model_validator(mode="after")
    def _one_wheel(self) -> RoadSpeed:
        if (self.tyre is None) == (self.rolling_circumference_mm is None):
            given = self.tyre is not None
            raise refusal(
                "wheel_given_twice" if given else "no_wheel",
                f"The wheel's size is given {'twice' if given else 'nowhere'}.",
                "Give either tyre or rolling_circumference_mm.",
                unit="mm",
                at=["rolling_circumference_mm"],
                value=self.rolling_circumference_mm,
            )
        if self.tyre is not None and tyre_size(self.tyre) is None:
            raise refusal(
                "no_tyre_size",
                "This is not a tyre's size.",
                'Give it as it stands on the tyre, "205/55 R16", or rolling_circumference_mm.',
                at=["tyre"],
                value=self.tyre,
            )
        return self

    @property
    def circumference(self) -> float:
        """Way of the driven wheel in one turn, m."""
        if self.rolling_circumference_mm is not None:
            return self.rolling_circumference_mm * MM
        size = tyre_size(self.tyre or "")
        assert size is not None, "the check above"
        width, aspect, rim = size
        return rolling_circumference(tyre_diameter(width * MM, aspect / 100, rim * INCH))

    @property
    def turns(self) -> float:
        """Engine speed, 1/s."""
        return engine_speed_on_road(
            self.road_speed_m_s, self.circumference, self.gear_ratio, self.final_drive_ratio
        )


def tyre_size(text: str) -> tuple[float, float, float] | None:
    """Section width in mm, aspect ratio in percent and rim in inches, or None.

    >>> tyre_size("205/55 R16 91V")
    (205.0, 55.0, 16.0)
    """
    found = re.fullmatch(TYRE_PATTERN, text)
    return None if found is None else (float(found[1]), float(found[2]), float(found[3]))
