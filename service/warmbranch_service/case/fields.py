"""Finding one field of a case by its path, with the kind that checks its values.

A path is a JSON Pointer (``/case/main_pipe/gas_temperature_degC``) or the same with dots and
brackets (``case.branch.centreline[0].straight_mm``), as failures write it.
"""

from __future__ import annotations

import re
import typing
from dataclasses import dataclass
from typing import Any, cast

from pydantic import BaseModel

from warmbranch_service.case.schema import Case
from warmbranch_service.contract.errors import Entry
from warmbranch_service.contract.fields import OneOf, Quantity, Whole, nearest

Kind = Quantity | Whole | OneOf
Path = tuple[str | int, ...]

EXAMPLE = "case.main_pipe.gas_temperature_degC"
_SHORTEST = 2  # "case", and a part of it


class NoSuchFieldError(ValueError):
    """A path that leads to no field that can be given values.

    Parameters
    ----------
    detail, remedy : str
        One sentence each.
    """

    def __init__(self, detail: str, remedy: str) -> None:
        super().__init__(f"{detail} {remedy}")
        self.detail = detail
        self.remedy = remedy


@dataclass(frozen=True)
class CaseField:
    """A field of a case that holds one number, or one name out of a list.

    Parameters
    ----------
    path : tuple of str and int
        From the request, so that it begins with ``"case"``.
    kind : Quantity, Whole or OneOf
    """

    path: Path
    kind: Kind

    @property
    def name(self) -> str:
        """The path with dots and brackets."""
        return Entry(self.path, "", "", "").field

    @property
    def pointer(self) -> str:
        """The path as a JSON Pointer."""
        return Entry(self.path, "", "", "").pointer

    @property
    def unit(self) -> str | None:
        """Unit of its numbers; None for a name."""
        if isinstance(self.kind, Quantity):
            return self.kind.unit
        return "1" if isinstance(self.kind, Whole) else None

    @property
    def is_continuous(self) -> bool:
        """Whether any number within its bounds is a value."""
        return isinstance(self.kind, Quantity)


def find(case: Case, text: str) -> CaseField:
    """The field of ``case`` at a path.

    Raises
    ------
    NoSuchFieldError
        If there is none, or none that holds a number or a name out of a list.
    """
    parts = _split(text)
    if not parts or parts[0] != "case":
        remedy = f"Give a path that begins with case, as in {EXAMPLE}."
        raise NoSuchFieldError("This is no path to a field of the case.", remedy)
    if parts[1:3] == ["closures", "calibration"]:
        remedy = "Vary the coefficients that it replaces, in a case without it."
        raise NoSuchFieldError("A calibration is one whole and cannot be varied.", remedy)
    path: list[str | int] = ["case"]
    here: Any = case
    annotation: Any = None
    for part in parts[1:]:
        name = Entry(tuple(path), "", "", "").field
        if here is None:
            remedy = f"Give {name} in the case; then its fields can be varied."
            raise NoSuchFieldError(f"The case has no {name}.", remedy)
        step, here, annotation = _step(here, annotation, part, name)
        path.append(step)
    kind = _kind_in(annotation)
    is_whole_object = isinstance(here, (BaseModel, list, dict))
    if len(path) < _SHORTEST or kind is None or is_whole_object:
        remedy = f"Give the path of a single number, as in {EXAMPLE}."
        raise NoSuchFieldError("This field holds no number and no name out of a list.", remedy)
    return CaseField(tuple(path), kind)


def _split(text: str) -> list[str]:
    if text.startswith("/"):
        return [part.replace("~1", "/").replace("~0", "~") for part in text[1:].split("/")]
    return re.sub(r"\[(\d+)\]", r".\1", text).split(".")


def _step(here: Any, annotation: Any, part: str, name: str) -> tuple[str | int, Any, Any]:
    """Key or index, what stands there, and the annotation that describes it."""
    if isinstance(here, BaseModel):
        fields = type(here).model_fields
        if part not in fields:
            known = f"Fields of {name} are: {', '.join(fields)}."
            raise NoSuchFieldError(f"{name} has no {part}.", nearest(part, fields) + known)
        field = fields[part]
        own = [item for item in field.metadata if isinstance(item, Kind)]
        return part, getattr(here, part), own[0] if own else field.annotation
    if isinstance(here, list):
        entries = cast("list[Any]", here)
        if not part.isdigit() or int(part) >= len(entries):
            remedy = f"Give an index from 0 to {len(entries) - 1}."
            raise NoSuchFieldError(f"{name} has no entry {part}.", remedy)
        return int(part), entries[int(part)], annotation
    if isinstance(here, dict):
        named = cast("dict[str, Any]", here)
        if part not in named:
            remedy = f"Its entries are: {', '.join(named)}."
            raise NoSuchFieldError(f"{name} has no {part}.", remedy)
        return part, named[part], annotation
    remedy = f"Give {name}, or a field that has parts."
    raise NoSuchFieldError(f"{name} holds one value, which has no {part}.", remedy)


def _kind_in(annotation: Any) -> Kind | None:
    """The first kind of value that an annotation holds, values of a mapping before its keys."""
    if isinstance(annotation, Kind):
        return annotation
    inside = typing.get_args(annotation)
    if typing.get_origin(annotation) is dict:
        inside = inside[1:]
    for argument in inside:
        found = _kind_in(argument)
        if found is not None:
            return found
    return None
