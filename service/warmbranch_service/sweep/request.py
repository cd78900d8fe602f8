"""What ``POST /v1/sweep`` takes."""

from __future__ import annotations

import math
from typing import Annotated

from pydantic import Field, PrivateAttr, model_validator

from warmbranch_service.case.fields import CaseField
from warmbranch_service.case.schema import Case
from warmbranch_service.contract.fields import OneOf, Quantity, RequestModel, Whole
from warmbranch_service.contract.rules import WITH_ENGINE, given, left_out, rules, together, where
from warmbranch_service.contract.units import FREQUENCY, ROTATION
from warmbranch_service.steady.outputs import INTERVAL_HZ, INTERVAL_RPM, OUTPUTS
from warmbranch_service.sweep.checks import check
from warmbranch_service.sweep.varied import (
    CHUNK,
    DEFAULT_OUTPUTS,
    MOST_FIELDS,
    MOST_LINES,
    MOST_LOSSES,
    GridSampling,
    ListSampling,
    Sampling,
    Vary,
)

_DRAWS = {"properties": {"method": {"enum": ["sobol", "latin hypercube"]}}}
"""Schema of a sampling that draws."""


class SweepRequest(RequestModel):
    """A case, what is varied in it, and what to report of every design.

    A service admits fewer designs a request than this schema: its setting
    WARMBRANCH_SWEEP_DESIGNS, 100000 unless changed. The command line has the schema's limits.
    """

    model_config = rules(
        (
            together(given("sampling"), where(sampling=_DRAWS)),
            where(vary={"items": left_out("uniform", "normal", "lognormal")}),
        ),
        (WITH_ENGINE, where(transmission_loss_at_rpm={"maxItems": 0})),
        unsaid={
            "field_given_twice": "No field is varied twice, or beside one that stands for it.",
            "unequal_lists": "Sampled by list, all fields have as many values.",
            "too_many_designs": "The designs are no more than the service admits.",
            "beyond_the_end": "from_line is at most the number of lines of the whole answer.",
        },
    )

    case: Case = Field(description="The case; its varied fields must be admitted, too.")
    vary: Annotated[list[Vary], Field(min_length=1, max_length=MOST_FIELDS)] = Field(
        description="The fields to vary, each once."
    )
    sampling: Sampling = Field(
        default=GridSampling(method="grid"),
        description="How values are put together. grid and list take values and grids only. "
        "Default grid: every combination.",
    )
    outputs: Annotated[
        list[Annotated[str, OneOf("output", OUTPUTS)]],
        Field(min_length=1, max_length=len(OUTPUTS)),
    ] = Field(
        default=[*DEFAULT_OUTPUTS],
        description="What to report of every design: numbers of the steady answer, by their "
        "path in it; [0] in a profile is the mouth, [-1] the cap.",
        examples=[[*DEFAULT_OUTPUTS]],
    )
    transmission_loss_at_rpm: Annotated[
        list[Annotated[float, Quantity("rpm", ROTATION, low=50, high=30000)]],
        Field(max_length=MOST_LOSSES),
    ] = Field(
        default=[],
        description="Engine speeds at which to report the transmission loss. Default none.",
        examples=[[2250, 2350, 2450]],
        json_schema_extra={"x-unit": "rpm"},
    )
    transmission_loss_at_Hz: Annotated[
        list[Annotated[float, Quantity("Hz", FREQUENCY, low=1, high=2000)]],
        Field(max_length=MOST_LOSSES),
    ] = Field(
        default=[],
        description="Frequencies at which to report the transmission loss. Default none.",
        examples=[[75, 80]],
        json_schema_extra={"x-unit": "Hz"},
    )
    from_line: Annotated[int, Whole(1, MOST_LINES)] = Field(
        default=1,
        description="Line of the answer to begin with, to go on where an earlier answer broke "
        "off: the lines from there on are the same bytes. As CSV, a line of the table. Default 1, "
        "the header.",
        examples=[1, 515],
    )

    interval: bool = Field(
        default=False,
        strict=True,
        description="Whether every design tells the 50 and 90 % interval of its quiet rpm (of its "
        "first resonance without an engine), as the steady answer of it does: five more outputs, "
        "prediction.…, for several times the work. Default false.",
    )

    _fields: tuple[CaseField, ...] = PrivateAttr(default=())

    @model_validator(mode="after")
    def _fits(self) -> SweepRequest:
        if not self._fields:  # pydantic asks again where a request that was checked is passed on
            self._fields = check(self)
        return self

    @property
    def fields(self) -> tuple[CaseField, ...]:
        """The varied fields, in order."""
        return self._fields

    @property
    def asked(self) -> list[str]:
        """Outputs that are told of every design, those of the interval last."""
        if not self.interval:
            return self.outputs
        added = INTERVAL_HZ if self.case.engine is None else INTERVAL_RPM
        return [*self.outputs, *(name for name in added if name not in self.outputs)]

    @property
    def designs(self) -> int:
        """How many designs there are."""
        sampling = self.sampling
        if isinstance(sampling, GridSampling):
            return math.prod(vary.size for vary in self.vary)
        if isinstance(sampling, ListSampling):
            return self.vary[0].size
        return sampling.count

    @property
    def lines(self) -> int:
        """Lines of the whole answer: header, designs, progress after each chunk, end."""
        return self.designs + math.ceil(self.designs / CHUNK) + 2
