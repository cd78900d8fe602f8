"""Readings as comma-separated values: one a line, columns named as a reading's fields.

``position_mm,displayed_degC,thermometer,surface`` and so on; empty cells are left out, lines that
begin with # are remarks. Everything else is checked where all requests are.
"""

from __future__ import annotations

import csv
import io
from typing import Any, cast

from warmbranch_service.contract.errors import INVALID, Entry, Problem

WORDS: dict[str, Any] = {"true": True, "false": False}
DELIMITERS = ",;\t"


def with_readings(body: Any, text: str) -> Any:
    """The body with the readings of a table behind its own.

    Parameters
    ----------
    body : object
        A request as parsed; left as it is when it is no JSON object.
    text : str

    Raises
    ------
    Problem
        If the text is no table.
    """
    if not isinstance(body, dict):
        return body
    request = cast("dict[str, Any]", body)
    own = request.get("readings", [])
    if not isinstance(own, list):
        return request
    return {**request, "readings": [*cast("list[Any]", own), *rows(text)]}


def rows(text: str) -> list[dict[str, Any]]:
    """Each line of a table as a reading.

    Raises
    ------
    Problem
        If there is no line of names, a name twice, or a line with more cells than names.
    """
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    if not lines:
        raise _refused("The table of readings is empty.", "Give a first line of names.")
    delimiter = max(DELIMITERS, key=lines[0].count)
    table = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter))
    names = [name.strip() for name in table[0]]
    if len(set(names)) != len(names) or "" in names:
        raise _refused("A column has no name, or the name of another.", "Name every column once.")
    found: list[dict[str, Any]] = []
    for number, cells in enumerate(table[1:], start=1):
        if len(cells) > len(names):
            raise _refused(
                f"Reading {number} has {len(cells)} cells for {len(names)} columns.",
                "Put one cell under each name; quote a cell that holds the separator.",
            )
        pairs = zip(names, cells, strict=False)
        found.append({name: _value(cell.strip()) for name, cell in pairs if cell.strip()})
    return found


def _value(cell: str) -> Any:
    if cell.lower() in WORDS:
        return WORDS[cell.lower()]
    try:
        return float(cell)
    except ValueError:
        return cell


def _refused(detail: str, remedy: str) -> Problem:
    entry = Entry(("readings",), "no_table", detail, remedy)
    return Problem(INVALID, entry.sentence(), entries=[entry])
