"""What varies in a sweep, and how its values are put together."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from warmbranch_service.case.fields import EXAMPLE
from warmbranch_service.contract.deviations import UNIT, Deviation
from warmbranch_service.contract.fields import Quantity, RequestModel, Whole
from warmbranch_service.contract.rules import given, left_out, rules, together
from warmbranch_service.contract.units import PURE_NUMBER
from warmbranch_service.sweep.values import RANGE, Free

MOST_FIELDS = 40
MOST_VALUES = 100_000
MOST_DESIGNS = 1_000_000_000
MOST_DESIGNS_OF_HYPERCUBE = 1_000_000
MOST_LOSSES = 101
CHUNK = 512
"""Designs that are solved together; a line of progress follows each chunk."""

MOST_LINES = MOST_DESIGNS + MOST_DESIGNS // CHUNK + 3
DEFAULT_OUTPUTS = (
    "resonance.quiet_rpm",
    "resonance.frequency_Hz[0]",
    "resonance.quality_factor",
    "effective_temperature_degC",
)

Value = Annotated[float | str, Free()]
Limit = Annotated[float | str | None, Free(nullable=True)]
Seed = Annotated[int, Whole(0, 2**32 - 1)]
SEED_TEXT = "Equal seeds give equal designs. Default 0."
LIMITS_TEXT = (
    "beyond which no value is drawn; what is left is drawn in proportion. Default null: none."
)


class Grid(RequestModel):
    """Evenly spaced values, both ends included."""

    from_: Value = Field(alias="from", title="from", description="First value.", examples=[250])
    to: Value = Field(description="Last value.", examples=[450, "840 F"])
    count: Annotated[int, Whole(2, MOST_VALUES)] = Field(
        description="How many values.", examples=[5]
    )
    spacing: Literal["linear", "logarithmic"] = Field(
        default="linear",
        description="Equal steps or equal ratios; ratios need values above 0. Default linear.",
    )


class UniformSpread(RequestModel):
    """Every value between two is as likely."""

    low: Value = Field(description="Lowest value.", examples=[250])
    high: Value = Field(description="Highest value.", examples=[450])


class NormalSpread(RequestModel):
    """A normal distribution, cut off at limits where they are given."""

    mean: Value = Field(description="Mean, before it is cut off.", examples=[310, "590 F"])
    standard_deviation: Annotated[float, Deviation()] = Field(
        description="Standard deviation, in the field's unit; of a temperature, in kelvin.",
        examples=[25],
    )
    low: Limit = Field(default=None, description=f"Limit {LIMITS_TEXT}", examples=[100])
    high: Limit = Field(default=None, description=f"Limit {LIMITS_TEXT}", examples=[600])


class LognormalSpread(RequestModel):
    """A distribution whose logarithm is normal, cut off at limits where they are given."""

    median: Value = Field(description="Median, before it is cut off; above 0.", examples=[0.15])
    log_standard_deviation: Annotated[float, Quantity("1", PURE_NUMBER, above=0, high=5)] = Field(
        description="Standard deviation of the natural logarithm. exp(1.96 × it) is the factor "
        "up and down from the median that holds 95 %.",
        examples=[0.84],
    )
    low: Limit = Field(default=None, description=f"Limit {LIMITS_TEXT}", examples=[0.01])
    high: Limit = Field(default=None, description=f"Limit {LIMITS_TEXT}", examples=[1])


Spread = UniformSpread | NormalSpread | LognormalSpread

WAYS = ("values", "grid", "uniform", "normal", "lognormal")


_OF_THE_FIELD = (
    "not_a_name",
    "not_a_number",
    "not_finite",
    "no_quantity",
    "out_of_range",
    "unknown_name",
    "wrong_unit",
)
"""Refusals of a value by the field that it is for."""


class Vary(RequestModel):
    """One field, and which values it takes; exactly one of the ways."""

    model_config = rules(
        tuple(
            together(given(way), left_out(*(other for other in WAYS if other != way)))
            for way in WAYS
        ),
        unsaid={
            "no_such_field": "field is a field of the case that holds one number, or one name out "
            "of a list.",
            **dict.fromkeys(_OF_THE_FIELD, "The values are values of the field."),
            "names_have_no_grid": "Names stand under values.",
            "no_ratio": "Both ends of a logarithmic grid are above 0.",
            "grid_of_one_value": "A grid ends elsewhere than it begins.",
            "no_distribution": "A field with a distribution takes any number within its bounds.",
            "no_logarithm": "The median of a lognormal distribution is above 0.",
            "range_falls": "high is above low.",
            "nothing_within_limits": "The limits hold a millionth of the distribution or more.",
        },
    )

    field: Annotated[str, Field(max_length=200)] = Field(
        description="A field of the case that holds one number, or one name out of a list: a JSON "
        "Pointer into this request, or the same path with dots and brackets.",
        examples=[EXAMPLE, "/case/branch/centreline/2/straight_mm"],
    )
    values: Annotated[list[Value], Field(min_length=1, max_length=MOST_VALUES)] | None = Field(
        default=None,
        description="Values in the field's unit, strings with a unit of their own, or names. A "
        "sample draws each as often. Default null: another way is given.",
        examples=[[250, 310, "700 F"]],
        json_schema_extra={"x-unit": UNIT, "x-range": RANGE},
    )
    grid: Grid | None = Field(
        default=None,
        description="Evenly spaced values. A sample draws each as often. Default null.",
    )
    uniform: UniformSpread | None = Field(
        default=None, description="For a sample: any value between two. Default null."
    )
    normal: NormalSpread | None = Field(
        default=None, description="For a sample: a normal distribution. Default null."
    )
    lognormal: LognormalSpread | None = Field(
        default=None, description="For a sample: a lognormal distribution. Default null."
    )

    @property
    def way(self) -> str:
        """Name of the way that is given."""
        return next(name for name in WAYS if getattr(self, name) is not None)

    @property
    def spread(self) -> Spread | None:
        """The distribution, if it is one."""
        return self.uniform or self.normal or self.lognormal

    @property
    def size(self) -> int:
        """How many values there are; 0 for a distribution."""
        if self.values is not None:
            return len(self.values)
        return 0 if self.grid is None else self.grid.count


class GridSampling(RequestModel):
    """Every combination of values and grids; the last field changes fastest."""

    method: Literal["grid"] = Field(description="This way.")


class ListSampling(RequestModel):
    """The first values of all fields together, then the second, and so on."""

    method: Literal["list"] = Field(description="This way.")


class SobolSampling(RequestModel):
    """A scrambled Sobol sequence: evenly spread whatever its length."""

    method: Literal["sobol"] = Field(description="This way.")
    count: Annotated[int, Whole(1, MOST_DESIGNS)] = Field(
        description="Designs; most even at powers of two.", examples=[1024]
    )
    seed: Seed = Field(default=0, description=SEED_TEXT, examples=[0])


class HypercubeSampling(RequestModel):
    """A Latin hypercube: each field takes every one of ``count`` equally likely slices once."""

    method: Literal["latin hypercube"] = Field(description="This way.")
    count: Annotated[int, Whole(1, MOST_DESIGNS_OF_HYPERCUBE)] = Field(
        description="Designs.", examples=[1000]
    )
    seed: Seed = Field(default=0, description=SEED_TEXT, examples=[0])


Sampling = Annotated[
    GridSampling | ListSampling | SobolSampling | HypercubeSampling, Field(discriminator="method")
]
