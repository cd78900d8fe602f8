"""What ``POST /v1/fit`` takes."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from warmbranch.belief.unknown import (
    AIR_TEMPERATURE_SPREAD,
    GAS_TEMPERATURE_SPREAD,
    LEAST_GAS_SPREAD,
)
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.case.geometry import ROUNDING, SHORTEST_IN_BORES
from warmbranch.fit.clock import WARMTH
from warmbranch.fit.shared import NAMES as SHARED
from warmbranch.fit.skin_in_time import START_SPREAD
from warmbranch.fit.standing import STILL
from warmbranch.warming.drive import LONGEST
from warmbranch_service.case.schema import Case
from warmbranch_service.case.skin_reading import LEAST_EMISSIVITY
from warmbranch_service.contract.fields import OneOf, Quantity, RequestModel, refusal
from warmbranch_service.contract.rules import WITH_ENGINE, Said, left_out, rules, where
from warmbranch_service.contract.units import (
    FREQUENCY,
    PERCENTAGE,
    ROTATION,
    TEMPERATURE_DIFFERENCE,
    TIME,
)
from warmbranch_service.fit.readings import (
    MOST_HEARD,
    MOST_READINGS,
    ContactReading,
    Heard,
    Reading,
)
from warmbranch_service.fit.while_read import WhileRead
from warmbranch_service.warmup.drive import DriveGiven

WARM_FROM = 2700.0
"""s after a cold start from which a branch counts as warm: by our own model its tone is then within
0.1 % of the last one."""


FIXABLE = (*UNKNOWNS, WARMTH, *SHARED)
"""Unknowns of the model, of time, and of what readings and tones share."""


class Unknowns(RequestModel):
    """What is taken as uncertain, and how far."""

    fixed: Annotated[
        list[Annotated[str, OneOf("unknown", FIXABLE)]], Field(max_length=len(FIXABLE))
    ] = Field(
        default=[],
        description=f"Names of unknowns that are taken as known: {', '.join(FIXABLE)}. What the "
        "case fixes is known anyway. Default none.",
        examples=[["gas_temperature"]],
    )
    air_temperature_spread_K: Annotated[
        float, Quantity("K", TEMPERATURE_DIFFERENCE, low=0.001, high=50)
    ] = Field(
        default=AIR_TEMPERATURE_SPREAD,
        description="Standard deviation of the air temperature near the branch. Default "
        f"{AIR_TEMPERATURE_SPREAD:g}; our judgement.",
        examples=[2],
    )
    gas_temperature_spread_percent: Annotated[
        float, Quantity("%", PERCENTAGE, low=0.01, high=50)
    ] = Field(
        default=GAS_TEMPERATURE_SPREAD * 100,
        description="Standard deviation of the main gas temperature's excess over the air. "
        f"Default {GAS_TEMPERATURE_SPREAD * 100:g}, but {LEAST_GAS_SPREAD:g} K at least; our "
        "judgement. A number that is given holds as it stands.",
        examples=[5],
    )
    start_time_spread_percent: Annotated[float, Quantity("%", PERCENTAGE, low=0, high=100)] = Field(
        default=START_SPREAD * 100,
        description="Standard deviation of the time constants of a named start, which readings "
        "with a time_s depend on. 0 takes them as known; a curve always is. Default "
        f"{START_SPREAD * 100:g}; our judgement.",
        examples=[35],
    )


class WarmUp(DriveGiven):
    """The warm-up during which readings were taken, as POST /v1/warmup takes it."""


SAID: tuple[tuple[Said, ...], ...] = (
    (
        WITH_ENGINE,
        where(target_rpm={"type": "null"}, heard={"items": left_out("quiet_rpm")}),
    ),
    (left_out("target_rpm"), left_out("target_Hz")),
    (
        left_out("while_read"),
        {
            "required": ["readings"],
            **where(
                readings={"minItems": 1, "items": where(time_s={"minimum": WARM_FROM})},
                time_s={"minimum": WARM_FROM},
            ),
        },
    ),
)
UNSAID = {
    "beyond_the_cap": "position_mm is at most the length of the centre-line.",
    "length_out_of_range": f"A build that was heard is {SHORTEST_IN_BORES:g} bores long or more.",
    "skin_mirrors": f"case.branch.emissivity is {LEAST_EMISSIVITY:g} or more where an infrared "
    "reading gives neither emissivity nor another surface.",
    "read_in_time": f"Where while_read is given, a time_s of the request or of a reading is "
    f"{WARM_FROM:g} s or more.",
    "refused_by_physics": "Losses leave the branch a first resonance.",
}
"""Rules across the fields of a fit's request, and of whatever holds one."""


class FitRequest(RequestModel):
    """A case, what was read and heard, and the tone that is wanted."""

    model_config = rules(*SAID, unsaid=UNSAID)

    case: Case
    readings: Annotated[list[Reading], Field(max_length=MOST_READINGS)] = Field(
        default=[], description="Readings along the branch. Default none."
    )
    warm_up: WarmUp | None = Field(
        default=None,
        description="How gas, flow and air went in time, for readings that carry time_s. Default "
        "null: for those, a cold start to the case's gas temperature.",
        examples=[{"start": {"model": "cold start", "time_constants_s": [30, 240]}}],
    )
    time_s: Annotated[float | None, Quantity("s", TIME, low=0, high=LONGEST, nullable=True)] = (
        Field(
            default=None,
            description="Since the engine was started from cold, of all readings and tones that "
            f"carry no time_s of their own; from {WARM_FROM:g} on they count as of a warm branch. "
            "Default null: most probably warm, and perhaps not, which the answer's time_untold "
            "allows for; unless something carries a time_s, then warm.",
            examples=[1800, "25 min"],
        )
    )
    while_read: WhileRead | None = Field(
        default=None,
        description="What was otherwise while the settled readings were taken than while it "
        "drones, such as a car that stood still: what the case describes is what was heard and "
        "wanted. Default null: not said; where the case's air moves fast, the fit then weighs by "
        "the readings whether they were taken in that air or standing still. To say that they were "
        "taken in the very air of the case, give its own air_speed_m_s.",
        examples=[{"air_speed_m_s": STILL}],
    )
    heard: Annotated[list[Heard], Field(max_length=MOST_HEARD)] = Field(
        default=[], description="What was heard, with this build or earlier ones. Default nothing."
    )
    unknowns: Unknowns = Field(
        default=Unknowns(), description="What is uncertain, and how far. Default: everything."
    )
    target_rpm: Annotated[
        float | None, Quantity("rpm", ROTATION, low=50, high=30000, nullable=True)
    ] = Field(
        default=None,
        description="Engine speed that the branch is to cancel, for advice on trimming. Default "
        "null: no advice.",
        examples=[2200],
    )
    target_Hz: Annotated[
        float | None, Quantity("Hz", FREQUENCY, low=1, high=2000, nullable=True)
    ] = Field(
        default=None,
        description="The same as a tone, in place of target_rpm. Default null.",
        examples=[110],
    )

    @model_validator(mode="after")
    def _rpm_needs_an_engine(self) -> FitRequest:
        if self.case.engine is None:
            for place, heard in enumerate(self.heard):
                if heard.quiet_rpm is not None:
                    raise _no_engine(["heard", place, "quiet_rpm"], heard.quiet_rpm)
            if self.target_rpm is not None:
                raise _no_engine(["target_rpm"], self.target_rpm)
        if self.target_rpm is not None and self.target_Hz is not None:
            raise refusal(
                "target_given_twice",
                "The target is given twice.",
                "Give target_rpm or target_Hz.",
                unit="Hz",
                at=["target_Hz"],
                value=self.target_Hz,
            )
        return self

    @model_validator(mode="after")
    def _readings_on_the_branch(self) -> FitRequest:
        length = self.case.branch.centreline_mm
        for place, reading in enumerate(self.readings):
            if reading.position_mm > length:
                raise refusal(
                    "beyond_the_cap",
                    f"The branch ends at {length:.6g} mm.",
                    f"Give a position from 0, the mouth, to {length:.6g} mm, the cap.",
                    unit="mm",
                    at=["readings", place, "position_mm"],
                    value=reading.position_mm,
                )
        return self

    @model_validator(mode="after")
    def _settled_as_it_was_read(self) -> FitRequest:
        if self.while_read is None:
            return self
        if not self.readings:
            raise refusal(
                "nothing_read",
                "while_read tells how it was while readings were taken, and there are none.",
                "Give the readings, or leave while_read out: what is heard is of the case.",
                at=["while_read"],
            )
        times: list[tuple[list[str | int], float | None]] = [(["time_s"], self.time_s)]
        times += [(["readings", i, "time_s"], one.time_s) for i, one in enumerate(self.readings)]
        for at, time in times:
            if time is not None and time < WARM_FROM:
                raise refusal(
                    "read_in_time",
                    "A reading of the branch as it warms up goes by warm_up, not by while_read.",
                    f"Give {WARM_FROM:g} s or more, or tell gas, flow and air by warm_up and leave "
                    "while_read out.",
                    unit="s",
                    at=at,
                    value=time,
                )
        return self

    @model_validator(mode="after")
    def _skin_can_be_read(self) -> FitRequest:
        own = self.case.branch.emissivity
        if own is None or own >= LEAST_EMISSIVITY:
            return self
        for place, reading in enumerate(self.readings):
            if isinstance(reading, ContactReading):
                continue
            if reading.surface is None and reading.emissivity is None:
                raise refusal(
                    "skin_mirrors",
                    f"readings[{place}] is an infrared reading of the branch's own skin, which "
                    "sends out nothing that could be read.",
                    f"Give {LEAST_EMISSIVITY:g} or more, or the reading's own emissivity.",
                    unit="1",
                    at=["case", "branch", "emissivity"],
                    value=own,
                )
        return self

    @model_validator(mode="after")
    def _builds_long_enough(self) -> FitRequest:
        shortest = SHORTEST_IN_BORES * self.case.branch.bore_mm
        for place, heard in enumerate(self.heard):
            length = heard.centreline_length_mm
            if length is not None and length < shortest * (1 - ROUNDING):
                raise refusal(
                    "length_out_of_range",
                    "That build is too short for the model, which needs three bores.",
                    f"Give at least {shortest:.6g} mm.",
                    unit="mm",
                    at=["heard", place, "centreline_length_mm"],
                    value=length,
                )
        return self


def _no_engine(at: list[str | int], value: float) -> PydanticCustomError:
    return refusal(
        "no_engine",
        "An engine speed means nothing without an engine.",
        "Give case.engine, or a frequency in Hz.",
        unit="rpm",
        at=at,
        value=value,
    )
