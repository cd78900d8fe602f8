"""Values whose unit and bounds are those of a field that the request names elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pydantic import GetJsonSchemaHandler
from pydantic_core import CoreSchema

from warmbranch_service.contract.deviations import UNIT, OfAnotherField, as_float
from warmbranch_service.contract.fields import JsonSchema, refusal
from warmbranch_service.contract.units import LONGEST_STRING

RANGE = "what field admits"


@dataclass(frozen=True, eq=False)
class Free(OfAnotherField):
    """A number in the field's unit, a string with a unit of its own, or a name."""

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        text = {"type": "string", "minLength": 1, "maxLength": LONGEST_STRING}
        forms: list[JsonSchema] = [{"type": "number"}, text]
        if self.nullable:
            forms.append({"type": "null"})
        return {"anyOf": forms, "x-unit": UNIT, "x-range": RANGE}

    def check(self, value: object) -> float | str | None:
        """Refuse what can be the value of no field."""
        remedy = "Give a number in the field's unit, or a string with a unit of its own."
        if value is None and self.nullable:
            return None
        if isinstance(value, str) and 0 < len(value) <= LONGEST_STRING:
            return value
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            number = as_float(value)
            if math.isfinite(number):
                return number
            raise refusal("not_finite", "NaN, infinity and overflow are no values.", remedy)
        raise refusal("not_a_number", "This must be a number or a string with a unit.", remedy)
