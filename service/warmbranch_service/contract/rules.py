"""Rules across the fields of one object, in its JSON schema.

What JSON Schema can say stands under ``allOf``, as alternatives. What it cannot say (sums,
products, comparisons of fields) stands under ``x-rules``: the code of the refusal, and the rule in
words. The models check both; a test sends requests that the schema admits, and holds every refusal
of one to a code found here.

rules      all rules of one object, as the ``model_config`` of its model
given      the fields are there and not null
left_out   the fields are absent or null
where      what is said of single fields
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from pydantic import ConfigDict

from warmbranch_service.contract.plain_text import CONTROL_CHARACTER, HALF_A_CHARACTER

RULES = "x-rules"
Said = dict[str, Any]


def rules(*said: tuple[Said, ...], unsaid: Mapping[str, str] | None = None) -> ConfigDict:
    """The model's configuration with its rules.

    Parameters
    ----------
    said : tuples of schemas
        Of each tuple one schema at least must hold.
    unsaid : mapping of str to str
        Code of the refusal to the rule, a sentence.
    """
    extra: Said = {}
    if said:
        extra["allOf"] = [{"anyOf": list(alternatives)} for alternatives in said]
    if unsaid:
        extra[RULES] = [{"code": code, "rule": rule} for code, rule in unsaid.items()]
    return ConfigDict(json_schema_extra=extra)


def given(*names: str) -> Said:
    """All of these are there, and none is null."""
    return {
        "required": list(names),
        "properties": {name: {"not": {"type": "null"}} for name in names},
    }


def left_out(*names: str) -> Said:
    """None of these is there but as null."""
    return where(**{name: {"type": "null"} for name in names})


def where(**said: Said) -> Said:
    """What is said of these fields, where they are there."""
    return {"properties": said}


def together(*parts: Said) -> Said:
    """All of it; of one field the parts say different things."""
    whole: Said = {"properties": {}}
    for part in parts:
        for name, said in cast("Said", part["properties"]).items():
            whole["properties"].setdefault(name, {}).update(said)
        if "required" in part:
            whole.setdefault("required", []).extend(cast("list[str]", part["required"]))
    return whole


OF_STRINGS = {
    "out_of_range": "The number of a string, converted to the field's x-unit, lies within the "
    "bounds of the number beside it.",
    "not_finite": "The number of a string is no greater than a double holds.",
    HALF_A_CHARACTER: "A string, and a key, is whole Unicode text, without half a character.",
    CONTROL_CHARACTER: "A string, and a key, holds no control character, no end of a line and no "
    "bidirectional control.",
}
"""Rules of every string, and of those with a unit, whose patterns cannot say them."""

WITH_ENGINE = where(case=given("engine"))
"""``case.engine`` is there: what speaks of engine speeds needs it."""
