"""From what pydantic or the physics refused to entries that name field, value, unit and remedy."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, cast

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from warmbranch.base.constants import ICE_POINT
from warmbranch.base.errors import InputError
from warmbranch_service.contract.errors import (
    INVALID,
    LONGEST_ECHO,
    MOST_ENTRIES,
    Entry,
    ProblemParts,
)
from warmbranch_service.contract.fields import nearest
from warmbranch_service.contract.units import unit_of

Path = tuple[str | int, ...]


def invalid(
    errors: Iterable[Mapping[str, Any]], body: object, model: type[BaseModel]
) -> ProblemParts:
    """The failure for what pydantic refused; parameters as for :func:`entries_of`."""
    return _invalid(entries_of(errors, body, model))


def refused_by_physics(error: InputError) -> ProblemParts:
    """The failure for a value that only the physics refused."""
    return _invalid([entry_of_physics(error)])


def _invalid(entries: list[Entry]) -> ProblemParts:
    first = entries[0].sentence() if entries else INVALID.meaning
    more = f" ({len(entries) - 1} more in errors.)" if len(entries) > 1 else ""
    return ProblemParts(INVALID, first + more, entries)


def entries_of(
    errors: Iterable[Mapping[str, Any]], body: object, model: type[BaseModel] | None
) -> list[Entry]:
    """Entries for pydantic's errors.

    Parameters
    ----------
    errors : iterable of pydantic's error dictionaries
    body : object
        The request body as parsed.
    model : type of BaseModel, optional
        What the body should have been, to name the fields that exist.
    """
    found: list[Entry] = []
    for error in errors:
        entry = _entry(error, body, model)
        if entry not in found:
            found.append(entry)
        if len(found) == MOST_ENTRIES:
            break
    return found


def entry_of_physics(error: InputError) -> Entry:
    """Entry for a value that only the physics refused; its field is named in SI there."""
    if error.field in _ELSEWHERE:
        told = error.message, error.remedy, error.value, error.unit
        return Entry(_ELSEWHERE[error.field], "refused_by_physics", *told)
    name, unit, value = error.field.split(".")[-1], error.unit, error.value
    suffix, scale, offset = _FROM_SI.get(unit, ("", 1.0, 0.0))
    if suffix and isinstance(value, float):
        unit, value = _UNIT_OF_SUFFIX[suffix], value * scale + offset
    else:
        suffix = ""
    place = [int(part) if part.isdigit() else part for part in error.field.split(".")[:-1]]
    within = () if place[:1] == ["readings"] else ("case",)
    path = (*within, *place, name + suffix)
    return Entry(path, "refused_by_physics", error.message, error.remedy, value, unit)


_ELSEWHERE: dict[str, Path] = {
    "main_pipe.incident_pressure": ("case", "closures", "mixing", "incident_pressure_Pa"),
}
"""Fields that a request has in another place, in SI there too."""

_FROM_SI = {
    "m": ("_mm", 1e3, 0.0),
    "K": ("_degC", 1.0, -ICE_POINT),
    "Pa": ("_kPa", 1e-3, 0.0),
    "m/s": ("_m_s", 1.0, 0.0),
    "kg/s": ("_kg_h", 3600.0, 0.0),
}
_UNIT_OF_SUFFIX = {suffix: unit_of(suffix) or "1" for suffix, _, _ in _FROM_SI.values()}


def _entry(error: Mapping[str, Any], body: object, model: type[BaseModel] | None) -> Entry:
    context = cast("Mapping[str, Any]", error.get("ctx") or {})
    code, value = str(error["type"]), error.get("input")
    location = [part for part in error["loc"] if part != "[key]"]
    path = _real_path(location, body, may_be_missing=code == "missing")
    if "detail" in context:  # one of our own
        at = cast("Sequence[str | int]", context.get("at") or [])
        if at:
            path, value = (*path, *at), context.get("value")
        unit = context.get("unit") or _unit_at(path)
        return Entry(path, code, context["detail"], context["remedy"], _echo(value), unit)
    code, detail, remedy = _explain(code, error, context, path, model)
    if code == "missing":
        value = None
    return Entry(path, code, detail, remedy, _echo(value), _unit_at(path))


def _explain(
    code: str,
    error: Mapping[str, Any],
    context: Mapping[str, Any],
    path: Path,
    model: type[BaseModel] | None,
) -> tuple[str, str, str]:
    """Code, detail and remedy of one of pydantic's own errors."""
    if code == "missing":
        if not path:
            return code, "The request has no body.", "Send a JSON object."
        return code, "This must be given and is not.", f"Give {path[-1]}{_in_unit(path)}."
    if code == "extra_forbidden":
        fields = fields_at(model, path[:-1]) if model else []
        known = f"Fields here are: {', '.join(fields)}." if fields else "Leave it out."
        hint = nearest(str(path[-1]), fields)
        return "unknown_field", "There is no such field.", hint + known
    if code in ("union_tag_not_found", "union_tag_invalid"):
        return _which_of_several(code, context, path, model)
    if code == "no_piece":
        remedy = 'Give {"straight_mm": …} or {"bend_deg": …, "bend_radius_mm": …}.'
        return code, "This is neither a straight nor a bend.", remedy
    if code == "string_unicode":
        return "not_unicode", "A text here holds half a character.", "Send whole Unicode text."
    if code == "literal_error":
        return code, "This is none of the names known here.", f"Give {context['expected']}."
    if code in ("too_short", "too_long"):
        low, high = context.get("min_length"), context.get("max_length")
        wanted = f"at least {low}" if code == "too_short" else f"at most {high}"
        actual = context.get("actual_length")
        return code, f"The list has {actual} entries.", f"Give {wanted}."
    wanted = _WANTED.get(code)
    if wanted:
        return "wrong_type", f"This must be {wanted}.", f"Give {wanted}."
    return code, f"{error['msg']}.", "See /v1/openapi.json for what is admitted."


def _which_of_several(
    code: str, context: Mapping[str, Any], path: Path, model: type[BaseModel] | None
) -> tuple[str, str, str]:
    """Code, detail and remedy where one field says which of several shapes an object has."""
    name = str(context.get("discriminator", "model")).strip("'")
    if code == "union_tag_invalid":
        tags = str(context.get("expected_tags", "")).replace("'", '"')
        return "unknown_model", f"There is no such {name}.", f"Give {name} as one of: {tags}."
    fields = [_by_json_name(owner)[name] for owner in _models_at(model, path)] if model else []
    names = [f'"{tag}"' for field in fields for tag in typing.get_args(field.annotation)]
    known = f" one of {', '.join(names)}" if names else ""
    remedy = f'Give "{name}":{known}, then its numbers.' if known else f'Give "{name}".'
    return "no_model", f"It is not said which {name} is meant.", remedy


_WANTED = {
    "model_type": "a JSON object",
    "model_attributes_type": "a JSON object",
    "dict_type": "a JSON object",
    "list_type": "a list",
    "string_type": "a string",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
}


def _real_path(location: Sequence[str | int], body: object, *, may_be_missing: bool) -> Path:
    """The location without the names of union members, which are not in the body.

    Neither is, as the last part, a field that is missing.
    """
    path: list[str | int] = []
    here: Any = body
    for place, part in enumerate(location):
        if isinstance(here, dict) and part in here:
            here = cast("dict[str, Any]", here)[cast("str", part)]
        elif isinstance(here, list) and isinstance(part, int):
            here = cast("list[Any]", here)[part]
        elif not (may_be_missing and place == len(location) - 1):
            continue
        path.append(part)
    return tuple(path)


def fields_at(model: type[BaseModel], path: Path) -> list[str]:
    """Names of the fields that ``model`` has at ``path``; of all members where it is a union."""
    names: dict[str, None] = {}
    for owner in _models_at(model, path):
        names.update(dict.fromkeys(_by_json_name(owner)))
    return list(names)


def _models_at(model: type[BaseModel], path: Path) -> list[type[BaseModel]]:
    """What ``model`` has at ``path``; all members of a union."""
    models = [model]
    for part in path:
        if isinstance(part, int):
            continue  # the models found for the list are those of its entries
        found: list[type[BaseModel]] = []
        for owner in models:
            field = _by_json_name(owner).get(part)
            if field is not None:
                found += _models_in(field.annotation)
        models = found
    return models


def _by_json_name(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Fields by their names in JSON, one of which Python keeps for itself: from."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        return [annotation] if issubclass(annotation, BaseModel) else []
    found: list[type[BaseModel]] = []
    for argument in typing.get_args(annotation):
        found += _models_in(argument)
    return found


def _unit_at(path: Path) -> str | None:
    names = [part for part in path if isinstance(part, str)]
    return unit_of(names[-1]) if names else None


def _in_unit(path: Path) -> str:
    unit = _unit_at(path)
    return f", in {unit}" if unit else ""


def _echo(value: object) -> object:
    return value[:LONGEST_ECHO] if isinstance(value, str) else value
