"""Kinds of field: a quantity with a unit and bounds, a whole number, one name of a list.

Each kind checks its value itself, so that every refusal can say the value, the unit and the
remedy, and writes the same bounds and unit into the JSON schema.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Annotated, Any, LiteralString

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from warmbranch_service.contract import units, written_lengths
from warmbranch_service.contract.units import LENGTH, PURE_NUMBER, Dimension

JsonSchema = dict[str, Any]


def in_unit(unit: str) -> JsonSchema:
    """What a field's schema says of its unit, for ``json_schema_extra``."""
    return {"x-unit": unit}


def _own_name(name: str, _: object) -> str:
    """A field's title is its name, whose ending is its unit."""
    return name


class RequestModel(BaseModel):
    """Base of everything that a request is made of: unknown fields are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, field_title_generator=_own_name)


class AnswerModel(BaseModel):
    """Base of everything that an answer is made of: no NaN and no infinity leaves."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, field_title_generator=_own_name
    )


Loops = Annotated[
    str,
    Field(
        description="Who went through the hot loops: the compiled core, named by its language and "
        "the processor it was built for, or numpy, which gives the same answers slower.",
        examples=["c x86-64-v3", "numpy"],
    ),
]
"""What ``warmbranch.core.name()`` says, in the part of an answer that tells of the work done."""


def refusal(
    code: LiteralString,
    detail: str,
    remedy: str,
    *,
    unit: str | None = None,
    at: list[str | int] | None = None,
    value: object = None,
) -> PydanticCustomError:
    """An error that carries all a refusal has to say.

    Parameters
    ----------
    code : str
        Stable identifier.
    detail, remedy : str
        What is wrong; what to give instead. One sentence each.
    unit : str, optional
    at : list of keys and indices, optional
        Where, below the object being checked, when the check concerns a whole object.
    value : object, optional
        What stands at ``at``.
    """
    context = {"detail": detail, "remedy": remedy, "unit": unit, "at": at or [], "value": value}
    return PydanticCustomError(code, "{detail} {remedy}", context)


@dataclass(frozen=True, eq=False)  # annotations are compared by identity
class Quantity:
    """A number in ``unit``, or a string with a unit of the same dimension.

    Parameters
    ----------
    unit : str
        A unit of ``dimension``; "1" for a pure number, which takes no string.
    dimension : Dimension
    low, high : float, optional
        Inclusive bounds.
    above : float, optional
        Exclusive lower bound.
    nullable : bool
        Whether ``null`` is a value.
    """

    unit: str
    dimension: Dimension
    low: float | None = None
    high: float | None = None
    above: float | None = None
    nullable: bool = False

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return _checked_by(self.check)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        number: JsonSchema = {"type": "number"}
        bounds = {"minimum": self.low, "maximum": self.high, "exclusiveMinimum": self.above}
        number.update({key: value for key, value in bounds.items() if value is not None})
        forms: list[JsonSchema] = [number]
        if self.dimension is not PURE_NUMBER:
            spellings = "|".join(_spelling(unit) for unit in self.dimension.units)
            written = f"{units.NUMBER_PATTERN} *(?:{spellings})"
            if self.dimension is LENGTH:
                written = f"(?:{written}|{written_lengths.PATTERN})"
            pattern = rf"^ *{written} *$"
            forms.append({"type": "string", "pattern": pattern, "maxLength": units.LONGEST_STRING})
        if self.nullable:
            forms.append({"type": "null"})
        body: JsonSchema = {"anyOf": forms} if len(forms) > 1 else number
        return {**body, "x-unit": self.unit}

    def check(self, value: object) -> float | None:
        """Turn what was given into a number in ``unit``, or refuse it."""
        if value is None and self.nullable:
            return None
        if isinstance(value, str):
            number = self._from_string(value)
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            number = _as_float(value)
        else:
            raise self._refusal("not_a_number", f"This must be {self.dimension.name}.")
        if not math.isfinite(number):
            raise self._refusal("not_finite", "NaN, infinity and overflow are no values.")
        low, high, above = self.low, self.high, self.above
        if (
            (low is not None and number < low)
            or (high is not None and number > high)
            or (above is not None and number <= above)
        ):
            given = f"{number:.6g}{self._after_number}"
            given = f'"{value}", {given},' if isinstance(value, str) else given
            detail = f"{given} lies outside what is admitted."
            raise self._refusal("out_of_range", detail, self._slip(value))
        return number

    def _slip(self, given: str | float) -> str:
        """The question whether a number was meant in the other unit that people measure in."""
        both = {"degC": ("C", "F"), "mm": ("mm", "in")}.get(self.unit)
        if both is None:
            return ""
        own, other = both
        if isinstance(given, str):
            bare = re.match(rf" *({units.NUMBER_PATTERN})(?= *[^\d\s/])", given)
            meant = math.nan if bare is None else float(bare[1].replace(",", "."))
            question = f'Did you mean "{meant:.6g} {own}"? '
        else:
            number = _as_float(given)
            meant = (number - 32) / 1.8 if other == "F" else number * 25.4
            question = f'Did you mean "{number:.6g} {other}", {meant:.4g} {self.unit}? '
        # A length is asked about where it is too small alone: too large in mm is larger in inches.
        above = self.low is None or meant >= self.low
        return question if above and (self.high is None or meant <= self.high) else ""

    def _from_string(self, text: str) -> float:
        if self.dimension is PURE_NUMBER:
            raise self._refusal("not_a_number", "This must be a number without a unit.")
        try:
            return units.parse(text, self.dimension, self.unit)
        except units.NoQuantityError:
            raise self._no_quantity(text) from None
        except units.UnknownUnitError as unknown:
            detail = f'"{unknown}" is not a unit of {self.dimension.name}.'
            raise self._refusal("wrong_unit", detail) from None

    def _no_quantity(self, text: str) -> PydanticCustomError:
        """What is wrong with a string that is no quantity, and what to write instead."""
        bare = text.strip().rstrip(" .")
        thousands = re.match(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}(?![0-9])", bare)
        if thousands is not None:
            point, none = (thousands[0].replace(",", mark) for mark in (".", ""))
            question = f"Is that {point} or {none}? Write it with a point, or without the comma. "
            return self._refusal("no_quantity", "The comma may mean two things.", question)
        if re.fullmatch(units.NUMBER_PATTERN, bare) is not None:
            number = bare.replace(",", ".")
            unit = self.unit
            question = f'Write {number} without quotes, or "{number} {unit}" with its unit. '
            return self._refusal("no_quantity", "The string has no unit.", question)
        return self._refusal("no_quantity", "The string is not a number and a unit.")

    def _refusal(self, code: LiteralString, detail: str, question: str = "") -> PydanticCustomError:
        return refusal(code, detail, question + self.remedy, unit=self.unit)

    @property
    def _after_number(self) -> str:
        return "" if self.unit == "1" else f" {self.unit}"

    @property
    def remedy(self) -> str:
        """One sentence on what is admitted."""
        if self.low is not None and self.high is not None:
            span = f"from {self.low:g} to {self.high:g}{self._after_number}"
        elif self.above is not None and self.high is not None:
            span = f"above {self.above:g} and at most {self.high:g}{self._after_number}"
        else:
            span = f"in {self.unit}"
        sentence = f"Give a number {span}"
        if self.dimension is not PURE_NUMBER:
            sentence += f", or a string with one of the units {', '.join(self.dimension.units)}"
        if self.dimension is LENGTH:
            sentence += ', as in "1 7/8 in" or "16 ga"'
        return sentence + (", or null." if self.nullable else ".")


@dataclass(frozen=True, eq=False)  # annotations are compared by identity
class Whole:
    """A whole number with inclusive bounds."""

    low: int
    high: int

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return _checked_by(self.check)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        return {"type": "integer", "minimum": self.low, "maximum": self.high, "x-unit": "1"}

    def check(self, value: object) -> int:
        """Turn what was given into a whole number, or refuse it."""
        remedy = f"Give a whole number from {self.low} to {self.high}."
        if isinstance(value, float) and value.is_integer():
            value = int(value)  # JSON does not tell 4.0 from 4
        if not isinstance(value, int) or isinstance(value, bool):
            raise refusal("not_a_number", "This must be a whole number.", remedy, unit="1")
        if not self.low <= value <= self.high:
            detail = f"{_as_float(value):.6g} lies outside what is admitted."
            raise refusal("out_of_range", detail, remedy, unit="1")
        return value


@dataclass(frozen=True, eq=False)  # annotations are compared by identity
class OneOf:
    """A name out of a list.

    Parameters
    ----------
    kind : str
        What the names stand for, in the singular: "material".
    names : collection of str
    nullable : bool
        Whether ``null`` is a value.
    """

    kind: str
    names: Collection[str]
    nullable: bool = False

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return _checked_by(self.check)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchema:
        names = list(self.names)
        if not self.nullable:
            return {"type": "string", "enum": names}
        return {"anyOf": [{"type": "string", "enum": names}, {"type": "null"}]}

    def check(self, value: object) -> str | None:
        """Return the name, or refuse it."""
        if value is None and self.nullable:
            return None
        if isinstance(value, str) and value in self.names:
            return value
        remedy = f"Give one of: {', '.join(self.names)}."
        if isinstance(value, str):
            raise refusal(
                "unknown_name",
                f"No {self.kind} of that name is known.",
                nearest(value, self.names) + remedy,
            )
        raise refusal("not_a_name", f"This must be the name of a {self.kind}.", remedy)


def nearest(word: str, words: Collection[str]) -> str:
    """``"Did you mean x? "``, or nothing when no word is near."""
    near = difflib.get_close_matches(word[:80], list(words), n=1)
    return f"Did you mean {near[0]}? " if near else ""


def _as_float(value: float) -> float:
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _checked_by(check: Callable[[object], object]) -> CoreSchema:
    return core_schema.no_info_plain_validator_function(check)


def _spelling(unit: str) -> str:
    """The pattern of a unit; one that is written small may be written large as well."""
    if unit != unit.lower():
        return _escaped(unit)
    return "".join(
        f"[{char}{char.upper()}]" if char.isascii() and char.isalpha() else _escaped(char)
        for char in unit
    )


def _escaped(unit: str) -> str:
    # Not re.escape: a JSON Schema pattern is an ECMA 262 one, which refuses needless escapes.
    return "".join(f"\\{char}" if char in r"\^$.|?*+()[]{}/" else char for char in unit)
