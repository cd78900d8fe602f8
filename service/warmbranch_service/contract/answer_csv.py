"""Any answer as one flat table, for spreadsheets and other programs.

Columns: section, row, field, value, unit. Numbers are those of the JSON; fields are named as there.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any, cast

from pydantic import BaseModel

from warmbranch_service.contract.units import unit_of

HEADER = ("section", "row", "field", "value", "unit")

LEFT_OUT = frozenset({"plan_svg", "side_svg"})
"""Drawings are no table."""

Row = tuple[str, str, str, str, str]
Fields = dict[str, Any]


def as_csv(answer: BaseModel, section: str) -> str:
    """The whole answer, a number or a text a line.

    Parameters
    ----------
    answer : BaseModel
    section : str
        Of the numbers and texts that stand in no object and no list.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(HEADER)
    body = answer.model_dump(mode="json")
    plain = {name: value for name, value in body.items() if not isinstance(value, (dict, list))}
    writer.writerows(_rows(section, "", plain))
    for name, value in body.items():
        if isinstance(value, dict):
            writer.writerows(_rows(name, "", cast("Fields", value)))
        elif isinstance(value, list):
            writer.writerows(_listed(name, cast("list[Any]", value)))
    return stream.getvalue()


def _rows(section: str, row: str, fields: Fields) -> Iterator[Row]:
    for name, value in fields.items():
        if name in LEFT_OUT:
            continue
        if isinstance(value, dict):
            yield from _rows(f"{section}.{name}", row, cast("Fields", value))
        elif isinstance(value, list):
            yield from _listed(f"{section}.{name}", cast("list[Any]", value), row)
        else:
            yield section, row, name, _text(value), unit_of(name) or ""


def _listed(section: str, values: list[Any], within: str = "") -> Iterator[Row]:
    """Entries numbered from 1; those of a list within a list by both numbers, ``2.1``."""
    name = section.rpartition(".")[2]
    for number, value in enumerate(values, start=1):
        row = f"{within}.{number}" if within else str(number)
        if isinstance(value, dict):
            yield from _rows(section, row, cast("Fields", value))
        elif isinstance(value, list):
            yield from _listed(section, cast("list[Any]", value), row)
        else:
            yield section, row, name, _text(value), unit_of(name) or ""


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value)
