"""What a length is sought for: an engine speed, a tone, a road speed, a loudness curve."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Discriminator, Field, Tag, model_validator

from warmbranch_service.case.gearing import RoadSpeed
from warmbranch_service.contract.fields import Quantity, RequestModel, refusal
from warmbranch_service.contract.quantities import Frequency, Rotation
from warmbranch_service.contract.rules import rules
from warmbranch_service.contract.units import PURE_NUMBER, ROTATION, SPEED

FEWEST_LOUDNESS, MOST_LOUDNESS = 3, 500

OptionalRotation = Annotated[
    float | None, Quantity("rpm", ROTATION, low=50, high=30000, nullable=True)
]


class QuietRpmTarget(RequestModel):
    """The engine speed that the branch is to quieten."""

    quiet_rpm: Rotation = Field(description="Engine speed that drones.", examples=[2350])


class FrequencyTarget(RequestModel):
    """The tone that the branch is to quieten."""

    frequency_Hz: Frequency = Field(description="Tone that drones.", examples=[78.3])


class RoadTarget(RoadSpeed):
    """The road speed at which it drones; the gears turn it into an engine speed."""

    road_speed_m_s: Annotated[float, Quantity("m/s", SPEED, low=1, high=120)] = Field(
        description="Road speed at which it drones.", examples=[30.6, "110 km/h"]
    )


class LoudnessPoint(RequestModel):
    """One point of a loudness curve."""

    rpm: Rotation = Field(description="Engine speed.", examples=[2350])
    level_dB: Annotated[float, Quantity("dB", PURE_NUMBER, low=-100, high=200)] = Field(
        description="Sound level there, from any meter or phone kept in one place; only "
        "differences count.",
        examples=[78],
    )


class LoudnessTarget(RequestModel):
    """A measured loudness curve, whose worst or whose mean is to be least."""

    model_config = rules(
        unsaid={
            "unsorted_loudness": "Engine speeds rise.",
            "repeated_rpm": "No engine speed stands twice.",
            "band_beyond_curve": "The band lies within the curve.",
            "band_falls": "band_to_rpm is above band_from_rpm.",
        }
    )

    loudness: Annotated[list[LoudnessPoint], Field(max_length=MOST_LOUDNESS)] = Field(
        description=f"At least {FEWEST_LOUDNESS} points, engine speed rising; between points the "
        "level is taken as a straight line.",
        examples=[
            [
                {"rpm": 1500, "level_dB": 66},
                {"rpm": 2350, "level_dB": 78},
                {"rpm": 3500, "level_dB": 70},
            ]
        ],
        json_schema_extra={"minItems": FEWEST_LOUDNESS},  # refused below in kinder words
    )
    band_from_rpm: OptionalRotation = Field(
        default=None,
        description="Lowest engine speed that counts. Default null: the curve's first.",
        examples=[1800],
    )
    band_to_rpm: OptionalRotation = Field(
        default=None,
        description="Highest engine speed that counts. Default null: the curve's last.",
        examples=[3200],
    )

    @property
    def band(self) -> tuple[float, float]:
        """Engine speeds that count."""
        low, high = self.band_from_rpm, self.band_to_rpm
        first, last = self.loudness[0].rpm, self.loudness[-1].rpm
        return (first if low is None else low), (last if high is None else high)

    @model_validator(mode="after")
    def _a_curve(self) -> LoudnessTarget:
        count = len(self.loudness)
        if count < FEWEST_LOUDNESS:
            raise refusal(
                "too_few_loudness_points",
                f"The loudness curve has {count} points.",
                f"Give at least {FEWEST_LOUDNESS}, below, at and above the drone.",
                at=["loudness"],
                value=count,
            )
        for place in range(1, count):
            before, here = self.loudness[place - 1].rpm, self.loudness[place].rpm
            if here <= before:
                repeated = here == before
                raise refusal(
                    "repeated_rpm" if repeated else "unsorted_loudness",
                    f"{here:g} rpm {'stands twice' if repeated else f'follows {before:g} rpm'}.",
                    "Give each engine speed once, in rising order"
                    + ("; take the mean of levels measured twice." if repeated else "."),
                    unit="rpm",
                    at=["loudness", place, "rpm"],
                    value=here,
                )
        self._check_band()
        return self

    def _check_band(self) -> None:
        (low, high), first, last = self.band, self.loudness[0].rpm, self.loudness[-1].rpm
        for name, value in (("band_from_rpm", low), ("band_to_rpm", high)):
            if not first <= value <= last:
                raise refusal(
                    "band_beyond_curve",
                    f"{value:g} rpm lies beyond the curve.",
                    f"Give a band within {first:g} to {last:g} rpm.",
                    unit="rpm",
                    at=[name],
                    value=value,
                )
        if high <= low:
            raise refusal(
                "band_falls",
                f"The band ends at {high:g} rpm, not above its beginning.",
                f"Give a number above {low:g} rpm.",
                unit="rpm",
                at=["band_to_rpm"],
                value=high,
            )


def _target_kind(value: Any) -> str | None:
    # Names that no field has: those of a union's members are left out of a refusal's path.
    kinds = {
        "quiet_rpm": ("an engine speed", QuietRpmTarget),
        "frequency_Hz": ("a tone", FrequencyTarget),
        "loudness": ("a curve", LoudnessTarget),
        "road_speed_m_s": ("a road speed", RoadTarget),
    }
    for key, (name, kind) in kinds.items():
        if isinstance(value, kind) or (isinstance(value, dict) and key in value):
            return name
    return None


Target = Annotated[
    Annotated[QuietRpmTarget, Tag("an engine speed")]
    | Annotated[FrequencyTarget, Tag("a tone")]
    | Annotated[LoudnessTarget, Tag("a curve")]
    | Annotated[RoadTarget, Tag("a road speed")],
    Discriminator(
        _target_kind,
        custom_error_type="no_target",
        custom_error_message="This says no target.",
        custom_error_context={
            "detail": "This says no target.",
            "remedy": "Give one of quiet_rpm, frequency_Hz, loudness and road_speed_m_s.",
        },
    ),
]
