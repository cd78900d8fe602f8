"""What ``POST /v1/listen`` takes in its part ``request``."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from warmbranch.listen.layout import HIGHEST_RATE
from warmbranch_service.case.gearing import RoadSpeed
from warmbranch_service.case.schema import HOTTEST_GAS_DEGC, Case, Engine
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.quantities import Rotation
from warmbranch_service.contract.rules import rules
from warmbranch_service.contract.units import FREQUENCY, PURE_NUMBER, SPEED, TEMPERATURE, TIME

MOST_ANCHORS = 20
LEAST_RANGE = 1.05
"""Highest over lowest engine speed."""

BEYOND = 1.1
"""Of a speed that was read, over the range that was roughly given."""


_When = Annotated[float, Quantity("s", TIME, low=0, high=3600)]
_Side = Literal["before", "after"]
_WHEN = "From the beginning of the recording."
_SIDE = "Which recordings it holds for. Default after."


class KnownSpeed(RequestModel):
    """An engine speed that was read at one moment of the recordings."""

    time_s: _When = Field(description=_WHEN, examples=[0])
    rpm: Rotation = Field(description="Engine speed then.", examples=[2000])
    recording: _Side = Field(default="after", description=_SIDE)


class KnownRoadSpeed(RoadSpeed):
    """A road speed that was read at one moment of the recordings, and the gear driven then."""

    time_s: _When = Field(description=_WHEN, examples=[0])
    road_speed_m_s: Annotated[float, Quantity("m/s", SPEED, low=1, high=120)] = Field(
        description="Road speed then, best from satellites: a speedometer reads some percent too "
        "high. Clutch and converter closed.",
        examples=[22.2, "80 km/h", "50 mph"],
    )
    recording: _Side = Field(default="after", description=_SIDE)

    @property
    def rpm(self) -> float:
        """Engine speed that gears and wheel make of it."""
        return 60 * self.turns


def _anchor_kind(value: Any) -> str | None:
    # Names that no field has: those of a union's members are left out of a refusal's path.
    if isinstance(value, dict) and "rpm" in value and "road_speed_m_s" in value:
        return None
    on_road = isinstance(value, KnownRoadSpeed) or (
        isinstance(value, dict) and "road_speed_m_s" in value
    )
    return "a road speed then" if on_road else "an engine speed then"


Anchored = Annotated[
    Annotated[KnownSpeed, Tag("an engine speed then")]
    | Annotated[KnownRoadSpeed, Tag("a road speed then")],
    Discriminator(
        _anchor_kind,
        custom_error_type="speed_given_twice",
        custom_error_message="The speed of one moment is given twice.",
        custom_error_context={
            "detail": "The speed of one moment is given twice.",
            "remedy": "Give rpm, or road_speed_m_s with the gears.",
        },
    ),
]


class ListenRequest(RequestModel):
    """The engine that is heard, and how the recordings were made."""

    model_config = rules(
        unsaid={
            "no_engine": "engine is given, or case with its engine.",
            "range_falls": "highest_rpm is above lowest_rpm by a twentieth at least.",
            "engine_given_twice": "engine is null where case has one.",
            "known_speed_beyond": "A speed of rpm_at, as engine speed, lies within lowest_rpm and "
            "highest_rpm, a tenth beyond them at most.",
        }
    )

    engine: Engine | None = Field(
        default=None,
        description="The engine, where no case is given. Default null: the case's.",
        examples=[{"cylinders": 4}],
    )
    case: Case | None = Field(
        default=None,
        description="The branch that is heard: its resonance and transmission loss then say where "
        "to listen. Default null: nothing is known of it.",
    )
    prior: Literal["case", "none"] = Field(
        default="case",
        description="Whether the case's prediction counts as a first opinion; none listens without "
        "it. Default case.",
    )
    lowest_rpm: Rotation = Field(
        description="Lowest engine speed in the recordings, roughly. Without it another order may "
        "be taken for the engine's.",
        examples=[1200],
    )
    highest_rpm: Rotation = Field(
        description="Highest engine speed in the recordings, roughly.", examples=[4500]
    )
    rpm_at: Annotated[list[Anchored], Field(max_length=MOST_ANCHORS)] = Field(
        default=[],
        description="Engine speeds that were read at moments, or road speeds in a gear. Default "
        "none.",
        examples=[
            [{"time_s": 0, "rpm": 2000}],
            [
                {
                    "time_s": 12,
                    "road_speed_m_s": "80 km/h",
                    "gear_ratio": 1.36,
                    "final_drive_ratio": 4.06,
                    "tyre": "205/55 R16",
                }
            ],
        ],
    )
    highest_rate_percent_s: Annotated[float, Quantity("%/s", PURE_NUMBER, low=5, high=300)] = Field(
        default=HIGHEST_RATE * 100,
        description="Fastest change of the engine's speed in gear, in percent a second. Default "
        f"{HIGHEST_RATE * 100:g}: full throttle in a low gear.",
        examples=[60],
        json_schema_extra={"x-unit": "%/s"},
    )
    same_place: bool | None = Field(
        default=None,
        strict=True,
        description="Whether the recorder lay in one place before and after, strapped or not "
        "touched. Default null: unknown, and taken as not.",
        examples=[True],
    )
    pilot_tone_Hz: Annotated[
        float | None, Quantity("Hz", FREQUENCY, low=1200, high=3600, nullable=True)
    ] = Field(
        default=None,
        description="Steady tone that a second phone played beside the recorder, which shows what "
        "its automatic gain did. Default null: none.",
        examples=[3000],
    )
    minutes_since_start: Annotated[
        float | None, Quantity("min", TIME, low=0, high=600, nullable=True)
    ] = Field(
        default=None,
        description="How long the engine had run under load at the recording after; told with the "
        "answer. Default null: warm through.",
        examples=[20],
    )
    gas_temperature_degC: Annotated[
        float | None,
        Quantity("degC", TEMPERATURE, low=-40, high=HOTTEST_GAS_DEGC, nullable=True),
    ] = Field(
        default=None,
        description="Gas temperature at the mouth at the recording after, where it was measured; "
        "told with the answer, as the case of POST /v1/fit wants it. Default null: the case's.",
        examples=[310],
    )

    @property
    def the_engine(self) -> Engine:
        """The engine, from wherever it is given."""
        found = self.engine or (self.case.engine if self.case else None)
        assert found is not None, "the check below"
        return found

    @model_validator(mode="after")
    def _an_engine(self) -> ListenRequest:
        in_case = self.case is not None and self.case.engine is not None
        if self.engine is None and not in_case:
            raise refusal(
                "no_engine",
                "Nothing is said of the engine, whose orders are listened for.",
                'Give engine as {"cylinders": 4}, or a case with its engine.',
                at=["engine"],
            )
        if self.engine is not None and in_case:
            raise refusal(
                "engine_given_twice",
                "The engine is given twice.",
                "Leave engine out, as the case has one.",
                at=["engine"],
            )
        return self

    @model_validator(mode="after")
    def _a_range(self) -> ListenRequest:
        if self.highest_rpm < LEAST_RANGE * self.lowest_rpm:
            raise refusal(
                "range_falls",
                f"The engine speeds run from {self.lowest_rpm:g} to {self.highest_rpm:g} rpm.",
                f"Give at least {LEAST_RANGE * self.lowest_rpm:g} rpm, or a lower lowest_rpm.",
                unit="rpm",
                at=["highest_rpm"],
                value=self.highest_rpm,
            )
        return self

    @model_validator(mode="after")
    def _known_within(self) -> ListenRequest:
        low, high = self.lowest_rpm / BEYOND, self.highest_rpm * BEYOND
        for place, known in enumerate(self.rpm_at):
            if low <= known.rpm <= high:
                continue
            on_road = isinstance(known, KnownRoadSpeed)
            made = "Road speed, gears and wheel make" if on_road else "The engine speed read is"
            raise refusal(
                "known_speed_beyond",
                f"{made} {known.rpm:.0f} rpm, not within those given, {self.lowest_rpm:g} to "
                f"{self.highest_rpm:g} rpm.",
                "Widen lowest_rpm and highest_rpm, or check it.",
                unit="m/s" if on_road else "rpm",
                at=["rpm_at", place, "road_speed_m_s" if on_road else "rpm"],
                value=known.road_speed_m_s if on_road else known.rpm,
            )
        return self
