"""What a shop's finished jobs taught: the part of a calibration that learning goes on from.

What is kept of a job are the few numbers that the physics learns from, and no readings.
"""

from __future__ import annotations

import math
from datetime import date
from typing import Annotated, Literal

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from warmbranch.base.constants import ICE_POINT
from warmbranch.belief.shop import NEAR, SAME, USUAL
from warmbranch.gas.gas import COLDEST, HOTTEST
from warmbranch_service.case.branch import LONGEST_MM
from warmbranch_service.contract.fields import (
    JsonSchema,
    OneOf,
    Quantity,
    RequestModel,
    Whole,
    in_unit,
    refusal,
)
from warmbranch_service.contract.rules import rules
from warmbranch_service.contract.units import LENGTH, MASS_FLOW, PURE_NUMBER, TEMPERATURE

FORM = 1
"""Of a finished job, of what is kept of it, and of a shop."""

MOST_KEPT = 200
"""Jobs of one shop."""

LONGEST_NAME = 80
"""Characters of a job's name, or a thermometer's."""

MOST_THERMOMETERS = 100
"""Of one job: as many as it may have readings."""

MOST_SEEN = len(USUAL) + MOST_THERMOMETERS
"""Readings of unit error of one job: a direction for each thing that it may tell of."""

ROUNDED = 1e-6
"""What writing a number down may take from a bound that it lay on."""

JobOutcome = Literal[
    "fitted", "prior-dominated", "contradictory readings", "at a bound", "not converged"
]
ThermometerName = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
JobName = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME)]
Number = Annotated[float, Quantity("1", PURE_NUMBER, low=-1e4, high=1e4)]
Perhaps = Annotated[float | None, Quantity("1", PURE_NUMBER, low=-1e4, high=1e4, nullable=True)]
Spread = Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=10)]
Slope = Annotated[float, Quantity("1", PURE_NUMBER, low=-10, high=10)]
Showing = Annotated[float, Quantity("1", PURE_NUMBER, low=-100, high=100)]
Row = Annotated[list[Slope], Field(max_length=len(USUAL))]
PerhapsRow = Annotated[list[Perhaps], Field(max_length=len(USUAL))]


class Day:
    """A day of the calendar as 2026-11-29, or null."""

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.check)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        text = {"type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$", "maxLength": 10}
        return {"anyOf": [text, {"type": "null"}]}

    def check(self, value: object) -> str | None:
        """The day as it was given, or a refusal."""
        if value is None:
            return None
        try:
            if isinstance(value, str) and date.fromisoformat(value).isoformat() == value:
                return value
        except ValueError:
            pass
        raise refusal("no_day", "This is no day.", 'Give one as in "2026-11-29", or null.')


class Form:
    """The number of a form: the one that this service reads."""

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.check)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        # Not a const: generators of clients stumble over an optional one.
        return {"type": "integer", "minimum": FORM, "maximum": FORM, "x-unit": "1"}

    def check(self, value: object) -> int:
        """The form's number, or a refusal."""
        if isinstance(value, (int, float)) and not isinstance(value, bool) and value == FORM:
            return FORM
        told = f"of form {value:g}" if isinstance(value, (int, float)) else "of no form"
        raise refusal(
            "another_form",
            f"This is {told}, and form {FORM} is read here.",
            f"Give {FORM}, and the fields as /v1/openapi.json has them; or ask the service of "
            "the version that wrote it.",
            unit="1",
        )


FormNumber = Annotated[int, Form()]
LearnedAt = Annotated[str | None, Day()]
DAY_RULE = {"no_day": "learned_at is a day of the calendar."}


class KeptPlace(RequestModel):
    """What a job was, as far as learning asks."""

    bore_mm: Annotated[float, Quantity("mm", LENGTH, above=0, high=1000)] = Field(
        description="Bore of the branch.", examples=[45.3]
    )
    length_mm: Annotated[float, Quantity("mm", LENGTH, above=0, high=LONGEST_MM)] = Field(
        description="Length of the centre-line.", examples=[813]
    )
    gas_temperature_degC: Annotated[
        float,
        Quantity("degC", TEMPERATURE, low=COLDEST - ICE_POINT, high=HOTTEST - ICE_POINT),
    ] = Field(description="Of the main gas, at the mouth.", examples=[310])
    mass_flow_kg_h: Annotated[float, Quantity("kg/h", MASS_FLOW, low=0, high=1e6)] = Field(
        description="In the main pipe.", examples=[95]
    )


class LearnedOn(RequestModel):
    """What jobs there were; outside, what they taught counts less, and far outside nothing."""

    least: KeptPlace = Field(description="Least of each.")
    most: KeptPlace = Field(description="Most of each.")


class KeptTone(RequestModel):
    """A tone that was heard, and what it hangs on; in natural logarithms."""

    heard: Number = Field(description="Of the tone in Hz.", examples=[4.37])
    uncertainty: Spread = Field(
        description="Standard deviation of it, the ear's own error with it.", examples=[0.0135]
    )
    middle: Number = Field(
        description="Of the tone with every unknown at the middle of its prior.", examples=[4.36]
    )
    straight: Row = Field(
        description="What one prior spread of each of the shop's unknowns adds to it.",
        examples=[[0.01, 0.002]],
        json_schema_extra=in_unit("1"),
    )
    curved: Row = Field(
        description="What the square of that adds.",
        examples=[[0.001, 0.0]],
        json_schema_extra=in_unit("1"),
    )
    rest: Spread = Field(
        description="Standard deviation by what is of this job alone.", examples=[0.01]
    )
    rest_shift: Number = Field(description="By how much that moves the mean.", examples=[0.0002])


class KeptThermometer(RequestModel):
    """What a job's readings tell of one thermometer that it named."""

    thermometer: Literal["infrared", "contact"] = Field(description="Its kind.")
    thermometer_name: ThermometerName = Field(
        description="As its readings call it.", examples=["the yellow one"]
    )
    seen: Annotated[list[Slope], Field(max_length=MOST_SEEN)] = Field(
        description="How each of the job's readings of unit error goes with what it shows too "
        "much, over the usual spread of that.",
        examples=[[0.4]],
        json_schema_extra=in_unit("1"),
    )


class KeptJob(RequestModel):
    """What is kept of one finished job, from its own fit; send it back unchanged."""

    form: FormNumber = Field(description="Of this object.", examples=[FORM])
    name: JobName = Field(description="Of the job.", examples=["blue van"])
    outcome: JobOutcome = Field(description="Of its own fit.", examples=["fitted"])
    readings: Annotated[int, Whole(0, 1000)] = Field(description="How many.", examples=[4])
    tones: Annotated[int, Whole(0, 1000)] = Field(description="Heard, how many.", examples=[1])
    engine_order: Annotated[
        float | None, Quantity("1", PURE_NUMBER, above=0, high=100, nullable=True)
    ] = Field(description="Null without an engine.", examples=[2])
    place: KeptPlace = Field(description="What the job was.")
    centre: PerhapsRow = Field(
        description="Middle of the job's own prior of each of the shop's unknowns, in its own "
        "coordinate; null where the job does not have it as other jobs do.",
        examples=[[-3.5, -1.0]],
        json_schema_extra=in_unit("1"),
    )
    spread: PerhapsRow = Field(
        description="Its standard deviation.",
        examples=[[0.43, 0.87]],
        json_schema_extra=in_unit("1"),
    )
    seen: Annotated[list[Row], Field(max_length=MOST_SEEN)] = Field(
        description="What the job saw, as readings of unit error: how each goes with each unknown "
        "over its usual spread.",
        examples=[[[1.2, -0.3]]],
        json_schema_extra=in_unit("1"),
    )
    shown: Annotated[list[Showing], Field(max_length=MOST_SEEN)] = Field(
        description="What each of those readings showed.",
        examples=[[0.7]],
        json_schema_extra=in_unit("1"),
    )
    tone: KeptTone | None = Field(description="Null where no warm tone was heard that counts.")
    thermometers: Annotated[list[KeptThermometer], Field(max_length=MOST_THERMOMETERS)] = Field(
        default=[], description="Those that were named. Default none."
    )


class Shop(RequestModel):
    """What a shop's jobs taught: where it holds, and what the next job is learned with."""

    model_config = rules(
        unsaid={
            **DAY_RULE,
            "broken_calibration": "unknowns names each once; each job's numbers have an entry for "
            "each, seen a row for each of shown, a thermometer's an entry for each, centre and "
            "spread are those of a prior, and no two jobs have one name; least is nowhere more "
            "than most.",
        }
    )

    form: FormNumber = Field(description="Of this object.", examples=[FORM])
    learned_at: LearnedAt = Field(
        description="Day that the request to POST /v1/learn named; null where it named none.",
        examples=["2026-11-29"],
    )
    learned_on: LearnedOn = Field(description="Ranges of the jobs.")
    unknowns: Annotated[
        list[Annotated[str, OneOf("unknown", USUAL)]], Field(min_length=1, max_length=len(USUAL))
    ] = Field(
        description="Names, in the order of each job's numbers.", examples=[["stirring", "reach"]]
    )
    jobs: Annotated[list[KeptJob], Field(min_length=1, max_length=MOST_KEPT)] = Field(
        description="What was kept of each."
    )

    @model_validator(mode="after")
    def _fits_together(self) -> Shop:
        size = len(self.unknowns)
        if len(set(self.unknowns)) != size:
            raise _broken("It names an unknown twice.", ["unknowns"])
        for place, job in enumerate(self.jobs):
            if any(job.name == other.name for other in self.jobs[:place]):
                raise _broken("Two of its jobs have one name.", ["jobs", place, "name"])
            rows = [job.centre, job.spread, *job.seen]
            rows += [] if job.tone is None else [job.tone.straight, job.tone.curved]
            if any(len(row) != size for row in rows) or len(job.shown) != len(job.seen):
                raise _broken(
                    f"This job's numbers do not go with {size} unknowns.", ["jobs", place]
                )
            if any(len(one.seen) != len(job.shown) for one in job.thermometers):
                raise _broken(
                    "seen has no entry for each of shown.", ["jobs", place, "thermometers"]
                )
            if not all(map(_is_prior, self.unknowns, job.centre, job.spread)):
                raise _broken("centre and spread are no prior.", ["jobs", place, "centre"])
        low, high = self.learned_on.least, self.learned_on.most
        if any(getattr(low, name) > getattr(high, name) for name in KeptPlace.model_fields):
            raise _broken("Its least is more than its most.", ["learned_on", "least"])
        return self


def _is_prior(name: str, centre: float | None, spread: float | None) -> bool:
    """Whether a job may have such a prior of an unknown, or has none."""
    if centre is None or spread is None:
        return centre is None and spread is None
    usual = USUAL[name]
    near = abs(centre - usual.centre) <= NEAR * usual.spread + ROUNDED
    return near and SAME * usual.spread - ROUNDED <= spread < math.inf


def _broken(detail: str, at: list[str | int]) -> PydanticCustomError:
    return refusal(
        "broken_calibration",
        detail,
        "Give the calibration as POST /v1/learn returned it, unchanged.",
        at=at,
    )
