"""What ``POST /v1/steady`` takes."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Discriminator, Field, Tag, model_validator

from warmbranch_service.case.schema import Case
from warmbranch_service.contract.fields import RequestModel, Whole, refusal
from warmbranch_service.contract.quantities import Frequency, Rotation
from warmbranch_service.contract.rules import WITH_ENGINE, rules, where

DEFAULT_POINTS = 41
MOST_POINTS = 2001
DEFAULT_SPAN = 0.25
"""Half width of the default range of transmission loss, over the frequency in its middle."""

Points = Annotated[int, Whole(2, MOST_POINTS)]
POINTS_TEXT = f"How many, evenly spaced. Default {DEFAULT_POINTS}."


class RpmRange(RequestModel):
    """Engine speeds at which to report the transmission loss."""

    model_config = rules(unsaid={"range_falls": "rpm_to is above rpm_from."})

    rpm_from: Rotation = Field(description="Lowest engine speed.", examples=[1500])
    rpm_to: Rotation = Field(description="Highest engine speed.", examples=[3500])
    points: Points = Field(default=DEFAULT_POINTS, description=POINTS_TEXT, examples=[41])

    @model_validator(mode="after")
    def _rises(self) -> RpmRange:
        _refuse_fall(self.rpm_from, self.rpm_to, "rpm_to", "rpm")
        return self


class FrequencyRange(RequestModel):
    """Frequencies at which to report the transmission loss."""

    model_config = rules(unsaid={"range_falls": "frequency_to_Hz is above frequency_from_Hz."})

    frequency_from_Hz: Frequency = Field(description="Lowest frequency.", examples=[50])
    frequency_to_Hz: Frequency = Field(description="Highest frequency.", examples=[150])
    points: Points = Field(default=DEFAULT_POINTS, description=POINTS_TEXT, examples=[41])

    @model_validator(mode="after")
    def _rises(self) -> FrequencyRange:
        _refuse_fall(self.frequency_from_Hz, self.frequency_to_Hz, "frequency_to_Hz", "Hz")
        return self


def _refuse_fall(low: float, high: float, name: str, unit: str) -> None:
    if high <= low:
        raise refusal(
            "range_falls",
            f"The range ends at {high:g} {unit}, not above its beginning.",
            f"Give a number above {low:g} {unit}.",
            unit=unit,
            at=[name],
            value=high,
        )


def _range_kind(value: Any) -> str:
    by_frequency = isinstance(value, FrequencyRange) or (
        isinstance(value, dict) and ("frequency_from_Hz" in value or "frequency_to_Hz" in value)
    )
    return "frequency" if by_frequency else "rpm"


Attenuation = Annotated[
    Annotated[RpmRange, Tag("rpm")] | Annotated[FrequencyRange, Tag("frequency")],
    Discriminator(_range_kind),
]


class SteadyRequest(RequestModel):
    """A case, and where to report the transmission loss."""

    model_config = rules(
        (
            WITH_ENGINE,
            where(attenuation={"anyOf": [{"type": "null"}, {"required": ["frequency_from_Hz"]}]}),
        )
    )

    case: Case
    attenuation: Attenuation | None = Field(
        default=None,
        description=f"Range of the transmission loss. Default null: {DEFAULT_POINTS} points over "
        f"±{DEFAULT_SPAN * 100:g} % of the quiet rpm (of the resonance without an engine).",
    )
    interval: bool = Field(
        default=True,
        strict=True,
        description="Whether the quiet rpm comes with its interval and what would narrow it; false "
        "where only speed counts. Default true.",
    )

    @model_validator(mode="after")
    def _rpm_needs_an_engine(self) -> SteadyRequest:
        if isinstance(self.attenuation, RpmRange) and self.case.engine is None:
            raise refusal(
                "no_engine",
                "A range of engine speeds means nothing without an engine.",
                "Give case.engine, or a range from frequency_from_Hz to frequency_to_Hz.",
                unit="rpm",
                at=["attenuation", "rpm_from"],
                value=self.attenuation.rpm_from,
            )
        return self
