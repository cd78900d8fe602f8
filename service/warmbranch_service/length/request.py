"""What ``POST /v1/length`` takes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from warmbranch.gas.combustion import LEANEST, RICHEST
from warmbranch.length.build_long import CHANCE_TOO_SHORT
from warmbranch_service.case.schema import MOST_MASS_FLOW_KG_H, Case
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import WITH_ENGINE, Said, left_out, rules, where
from warmbranch_service.contract.units import (
    LENGTH,
    MASS_FLOW,
    PRESSURE,
    PURE_NUMBER,
    SPEED,
    TEMPERATURE,
)
from warmbranch_service.length.options import Build, Cutting, LengthPlace, TwoBranches
from warmbranch_service.length.target import (
    FrequencyTarget,
    LoudnessTarget,
    OptionalRotation,
    Target,
)

MOST_POINTS = 10
SPACE_SIDES = ("along the main pipe", "away from the main pipe", "upward")
SAME = "Default null: as in the case."


class OperatingPoint(RequestModel):
    """One way of running; what is left null is as in the case."""

    name: Annotated[str, Field(min_length=1, max_length=60)] = Field(
        description="What it is called in the answer.", examples=["cold start"]
    )
    weight: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1e6)] = Field(
        default=1.0,
        description="How much it counts against the others: its share of time, say. Default 1.",
        examples=[3],
    )
    quiet_rpm: OptionalRotation = Field(
        default=None,
        description="Engine speed to be quietened here, in place of the target's. Default null.",
        examples=[2500],
    )
    gas_temperature_degC: Annotated[
        float | None, Quantity("degC", TEMPERATURE, low=-40, high=1000, nullable=True)
    ] = Field(default=None, description=f"Gas at the mouth. {SAME}", examples=[180])
    mass_flow_kg_h: Annotated[
        float | None, Quantity("kg/h", MASS_FLOW, low=0, high=MOST_MASS_FLOW_KG_H, nullable=True)
    ] = Field(default=None, description=f"Gas through the main pipe. {SAME}", examples=[60])
    excess_air_ratio: Annotated[
        float | None, Quantity("1", PURE_NUMBER, low=RICHEST, high=LEANEST, nullable=True)
    ] = Field(default=None, description=f"Of burnt gas. {SAME}", examples=[0.9])
    air_temperature_degC: Annotated[
        float | None, Quantity("degC", TEMPERATURE, low=-40, high=60, nullable=True)
    ] = Field(default=None, description=f"Air near the branch. {SAME}", examples=[-10])
    air_speed_m_s: Annotated[
        float | None, Quantity("m/s", SPEED, low=0, high=60, nullable=True)
    ] = Field(default=None, description=f"Air across the branch. {SAME}", examples=[0])
    pressure_kPa: Annotated[
        float | None, Quantity("kPa", PRESSURE, low=50, high=200, nullable=True)
    ] = Field(default=None, description=f"Ambient pressure. {SAME}", examples=[90])


_NO_POINT_HAS_ITS_OWN_RPM: Said = {"items": left_out("quiet_rpm")}
_SOME_POINT_COUNTS: Said = {"contains": where(weight={"exclusiveMinimum": 0})}


class LengthRequest(RequestModel):
    """A case, what is to be quietened, and what is wanted of the cut list."""

    model_config = rules(
        (
            WITH_ENGINE,
            where(
                target={"required": ["frequency_Hz"]},
                operating_points=_NO_POINT_HAS_ITS_OWN_RPM,
                two_branches={"anyOf": [{"type": "null"}, left_out("band_from_rpm")]},
            ),
        ),
        (
            where(target={"not": {"required": ["loudness"]}}),
            where(operating_points=_NO_POINT_HAS_ITS_OWN_RPM),
        ),
        (where(operating_points={"maxItems": 0}), where(operating_points=_SOME_POINT_COUNTS)),
        unsaid={
            "bend_too_tight": "cutting.bend_radius_mm is above half of the outside diameter.",
            "space_smaller_than_tube": "Each side of space_mm is at least the outside diameter.",
            "target_out_of_reach": "Some admissible length of this tube resonates at the target.",
            "no_engine_speed": "Road speed, gears and wheel make an engine speed that quiet_rpm "
            "admits.",
            "no_burnt_gas": "An excess_air_ratio goes with gas that is given as a fuel.",
            "bar_too_short": "No straight of the branch is longer than cutting.bar_mm.",
        },
    )

    case: Case = Field(
        description="The branch and its main pipe. The length of its centre-line is what is "
        "sought: it is cut or grows at the cap."
    )
    target: Target = Field(description="What is to be quietened.")
    operating_points: Annotated[list[OperatingPoint], Field(max_length=MOST_POINTS)] = Field(
        default=[],
        description="Ways of running, for one length that serves them all. Default none: the "
        "case itself.",
    )
    aim: Literal["loudest", "weighted mean"] | None = Field(
        default=None,
        description="What is to be least: the loudest level left, over all points of a weight "
        "above 0; or the mean of the powers left, points by their weights. Default null: loudest "
        "for a loudness curve, weighted mean for one tone at several operating points.",
        examples=["weighted mean"],
    )
    build: Build = Field(
        default=Build(),
        description="How long to build, and in what steps to trim. Default: a chance of "
        f"{CHANCE_TOO_SHORT * 100:g} % of being too short.",
    )
    cutting: Cutting = Field(
        default=Cutting(), description="Tube, saw and bends at hand. Default: usual ones."
    )
    space_mm: (
        Annotated[
            list[Annotated[float, Quantity("mm", LENGTH, above=0, high=10000)]],
            Field(min_length=3, max_length=3),
        ]
        | None
    ) = Field(
        default=None,
        description="Room for the branch: along the main pipe, away from it, upward. Where the "
        "branch does not fit as it is bent, up to three foldings are proposed. Default null: not "
        "asked.",
        examples=[[1200, 200, 120]],
        json_schema_extra={"x-unit": "mm"},
    )
    diameters: bool = Field(
        default=True,
        strict=True,
        description="Whether to work out the neighbouring stock diameters too. Default true.",
    )
    place: LengthPlace | None = Field(
        default=None,
        description="The main pipe up to its open end, to find where the branch works. Default "
        "null: not asked.",
    )
    two_branches: TwoBranches | None = Field(
        default=None, description="Two branches in place of one. Default null: one."
    )

    @model_validator(mode="after")
    def _rpm_needs_an_engine(self) -> LengthRequest:
        if self.case.engine is None:
            if not isinstance(self.target, FrequencyTarget):
                raise _no_engine(["target"])
            for place, point in enumerate(self.operating_points):
                if point.quiet_rpm is not None:
                    raise _no_engine(["operating_points", place, "quiet_rpm"])
            if self.two_branches is not None and self.two_branches.band_from_rpm is not None:
                raise _no_engine(["two_branches", "band_from_rpm"])
        return self

    @model_validator(mode="after")
    def _some_point_counts(self) -> LengthRequest:
        points = self.operating_points
        if points and all(point.weight == 0 for point in points):
            raise refusal(
                "no_weight",
                "No operating point has a weight above 0.",
                "Give at least one a weight.",
                unit="1",
                at=["operating_points", 0, "weight"],
                value=0.0,
            )
        for place, point in enumerate(points):
            if point.quiet_rpm is not None and isinstance(self.target, LoudnessTarget):
                raise refusal(
                    "two_targets",
                    "A loudness curve is the target at every operating point.",
                    "Leave quiet_rpm out of the operating points, or give no curve.",
                    unit="rpm",
                    at=["operating_points", place, "quiet_rpm"],
                    value=point.quiet_rpm,
                )
        return self

    @model_validator(mode="after")
    def _room_for_the_tube(self) -> LengthRequest:
        outside = self.case.branch.outside_diameter_mm
        radius = self.cutting.bend_radius_mm
        if radius is not None and radius <= outside / 2:
            raise refusal(
                "bend_too_tight",
                f"A bend of {radius:g} mm is tighter than the tube.",
                f"Give a centre-line radius above {outside / 2:g} mm, half the outside diameter.",
                unit="mm",
                at=["cutting", "bend_radius_mm"],
                value=radius,
            )
        for place, side in enumerate(self.space_mm or []):
            if side < outside:
                raise refusal(
                    "space_smaller_than_tube",
                    f"{side:g} mm {SPACE_SIDES[place]} is less than the tube's {outside:g} mm.",
                    "Give a larger space, or a thinner tube.",
                    unit="mm",
                    at=["space_mm", place],
                    value=side,
                )
        return self


def _no_engine(at: list[str | int]) -> PydanticCustomError:
    return refusal(
        "no_engine",
        "An engine speed means nothing without an engine.",
        "Give case.engine, or a target in frequency_Hz.",
        unit="rpm",
        at=at,
    )
