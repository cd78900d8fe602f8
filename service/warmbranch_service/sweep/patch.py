"""One case with a few of its fields changed, many times over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel

from warmbranch_service.case.fields import CaseField
from warmbranch_service.case.schema import Case


class Patch:
    """A case as JSON, with places at which values are put.

    Parameters
    ----------
    case : Case
    fields : sequence of CaseField
        Fields of ``case``.
    """

    def __init__(self, case: Case, fields: Sequence[CaseField]) -> None:
        # What was left open stays open: it may follow what is varied.
        self._json: dict[str, Any] = case.model_dump(mode="json", exclude_unset=True)
        self._places = [self._place(case, field) for field in fields]

    def with_values(self, values: Sequence[object]) -> dict[str, Any]:
        """The case with one value a field; the same object each time, changed."""
        for (holder, key), value in zip(self._places, values, strict=True):
            holder[key] = value
        return self._json

    def _place(self, case: Case, field: CaseField) -> tuple[Any, Any]:
        """What holds the field, made where the case left it out, and the field's key there."""
        holder: Any = self._json
        here: Any = case
        for part in field.path[1:-1]:
            here = _at(here, part)
            if isinstance(here, BaseModel) and isinstance(part, str):
                holder.setdefault(part, here.model_dump(mode="json", exclude_unset=True))
            holder = holder[part]
        return holder, field.path[-1]


def _at(here: Any, part: str | int) -> Any:
    return getattr(here, str(part)) if isinstance(here, BaseModel) else here[part]
