"""Standard deviations of a field that the request names beside them."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from warmbranch_service.contract.fields import JsonSchema, refusal

UNIT = "that of field"


@dataclass(frozen=True, eq=False)  # annotations are compared by identity
class OfAnotherField(ABC):
    """A value whose unit is that of a field that the request names beside it.

    Parameters
    ----------
    nullable : bool
        Whether ``null`` is a value.
    """

    nullable: bool = False

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.check)

    @abstractmethod
    def check(self, value: object) -> float | str | None:
        """The value, or a refusal."""


@dataclass(frozen=True, eq=False)
class Deviation(OfAnotherField):
    """A standard deviation: a number above 0 in the field's unit."""

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        number = {"type": "number", "exclusiveMinimum": 0}
        form = {"anyOf": [number, {"type": "null"}]} if self.nullable else number
        return {**form, "x-unit": UNIT}

    def check(self, value: object) -> float | None:
        """The number, or a refusal."""
        if value is None and self.nullable:
            return None
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            number = as_float(value)
            if math.isfinite(number) and number > 0:
                return number
        remedy = "Give a number above 0 in the field's unit; of a temperature, in kelvin."
        raise refusal("not_a_deviation", "This is no standard deviation.", remedy)


def as_float(value: float) -> float:
    """The number as a double; infinite where it is greater than one holds."""
    try:
        return float(value)
    except OverflowError:
        return math.inf
