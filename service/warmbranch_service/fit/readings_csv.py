"""Readings as a table from a spreadsheet: one a line, headings as people write them.

The contract's own names are taken as they are. Others are matched loosely, their units too:
``Position (in)``, ``temp °F``, ``from mouth [mm]``. Columns of notes are passed over, empty cells
left out, lines that begin with # are remarks, and a reading is an infrared thermometer's unless it
says otherwise. Commas, semicolons and tabs part the cells; with the latter two, 152,4 is a number.
Everything else is checked where all requests are.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from typing import Any, NamedTuple, cast

from warmbranch_service.contract.errors import INVALID, Entry, Problem, ProblemParts

WORDS: dict[str, Any] = {"true": True, "false": False, "yes": True, "no": False}
DELIMITERS = ",;\t"
FIELDS = (
    "position_mm",
    "displayed_degC",
    "time_s",
    "thermometer",
    "thermometer_name",
    "emissivity_set",
    "surface",
    "emissivity",
    "reflected_degC",
    "takes_off_reflection",
    "uncertainty_K",
    "distance_mm",
    "distance_to_spot",
)

HEADINGS = {
    "position_mm": ("position", "pos", "from mouth", "distance from mouth", "along", "where", "x"),
    "displayed_degC": ("displayed", "temperature", "temp", "reading", "read", "shown", "display"),
    "time_s": ("time", "after", "since start"),
    "thermometer": ("thermometer", "instrument", "kind", "type"),
    "thermometer_name": ("thermometer name", "name of thermometer", "which thermometer"),
    "surface": ("surface", "looked at", "paint", "patch", "aimed at"),
    "emissivity_set": ("emissivity set", "set emissivity", "setting", "set to"),
    "emissivity": ("emissivity",),
    "reflected_degC": ("reflected", "background"),
    "uncertainty_K": ("uncertainty", "plus minus", "±", "error"),
    "distance_mm": ("distance",),
    "distance_to_spot": ("distance to spot", "ratio", "d:s"),
}
"""Words that stand for a field, when nothing else does in the heading but a unit."""

NOTES = ("note", "notes", "remark", "remarks", "comment", "comments", "no", "nr", "#", "reading no")
UNITS = {
    "mm": "mm", "cm": "cm", "m": "m", "in": "in", "inch": "in", "inches": "in", '"': "in",
    "°c": "degC", "c": "degC", "degc": "degC", "deg c": "degC", "celsius": "degC",
    "°f": "F", "f": "F", "degf": "F", "deg f": "F", "fahrenheit": "F", "k": "K",
    "s": "s", "sec": "s", "seconds": "s", "min": "min", "minutes": "min",
}  # fmt: skip
SAME = (
    ({"position_mm", "distance_mm"}, {"mm"}),
    (
        {"displayed_degC", "reflected_degC"},
        {"degC"},
    ),
    ({"time_s"}, {"s"}),
    ({"uncertainty_K"}, {"K", "degC"}),
)
"""Units in which a field's plain numbers are anyway."""


GAS_SLACK = 30.0
"""K by which a reading may exceed the gas before it is asked about: what a usual guess at the gas
temperature and a hand instrument are off by."""


class Row(NamedTuple):
    """One reading, and the line of the file that it stands in."""

    line: int
    reading: dict[str, Any]


def with_readings(body: Any, text: str, name: str = "") -> Any:
    """The body with the readings of a table behind its own.

    Parameters
    ----------
    body : object
        A request as parsed; left as it is when it is no JSON object.
    text : str
    name : str
        Of the table's file, for what is told of it.

    Raises
    ------
    Problem
        If the text is no table.
    """
    own = _own(body)
    if own is None:
        return body
    request, found = cast("dict[str, Any]", body), rows(text, name)
    _ask_about_fahrenheit(request, found, name)
    return {**request, "readings": [*own, *(row.reading for row in found)]}


def placed(parts: ProblemParts, body: Any, text: str, name: str) -> ProblemParts:
    """A refusal in which readings of a table are told by file and line."""
    own = _own(body) or []
    lines = [row.line for row in rows(text, name)]
    entries: list[Entry] = []
    for entry in parts.entries:
        place = entry.path[1] if len(entry.path) > 1 and entry.path[0] == "readings" else None
        if isinstance(place, int) and 0 <= place - len(own) < len(lines):
            at = f"{name or 'The table'}, line {lines[place - len(own)]}: "
            entry = replace(entry, detail=at + entry.detail)
        entries.append(entry)
    if not entries:
        return parts
    more = f" ({len(entries) - 1} more in errors.)" if len(entries) > 1 else ""
    return replace(parts, detail=entries[0].sentence() + more, entries=entries)


def rows(text: str, name: str = "") -> list[Row]:
    """Each line of a table as a reading.

    Raises
    ------
    Problem
        If there is no line of headings, one that nobody knows, one twice, or a line with more cells
        than headings.
    """
    at = name or "The table of readings"
    numbered = [
        (number, line)
        for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), start=1)
        if line.strip(" ;,\t") and not line.startswith("#")
    ]
    if not numbered:
        raise _refused(f"{at} is empty.", "Give a first line of headings, then a reading a line.")
    delimiter = max(DELIMITERS, key=numbered[0][1].count)
    text = "\n".join(line for _, line in numbered)
    table = csv.reader(io.StringIO(text), delimiter=delimiter)
    headings = next(table)
    first = f"{at}, line {numbered[0][0]}"
    columns = [_column(heading.strip(), first) for heading in headings]
    while columns and columns[-1] is None and not headings[len(columns) - 1].strip():
        columns.pop()  # separators at the end of each line
    fields = [column.field for column in columns if column is not None]
    twice = next((field for field in fields if fields.count(field) > 1), None)
    if twice is not None:
        raise _refused(f"{first}: two columns are {twice}.", "Leave one out, or head it notes.")
    found: list[Row] = []
    for cells in table:
        line = numbered[table.line_num - 1][0]
        if len(cells) > len(columns) and any(cell.strip() for cell in cells[len(columns) :]):
            raise _refused(
                f"{at}, line {line} has {len(cells)} cells for {len(columns)} headings.",
                "Put one cell under each; quote a cell that holds the separator"
                + (", or save with semicolons if commas are decimal." if delimiter == "," else "."),
            )
        reading: dict[str, Any] = {}
        for column, cell in zip(columns, cells, strict=False):
            if column is not None and cell.strip():
                reading[column.field] = column.value(cell.strip(), delimiter != ",")
        if reading:
            found.append(Row(line, {"thermometer": "infrared", **reading}))
    return found


class _Column(NamedTuple):
    """What a heading says: which field, and in which unit if that is not the field's own."""

    field: str
    unit: str | None

    def value(self, cell: str, decimal_commas: bool) -> Any:
        if self.field == "thermometer_name":
            return cell
        if cell.lower() in WORDS:
            return WORDS[cell.lower()]
        number = cell
        # A quoted cell of a comma's table, too, where it cannot be thousands.
        quoted = re.fullmatch(r"[-+]?(?:0,\d+|\d+,(?:\d{1,2}|\d{4,}))", cell)
        if quoted or (decimal_commas and re.fullmatch(r"[-+]?[\d.]*,\d+.*", cell)):
            number = cell.replace(".", "").replace(",", ".", 1)
        try:
            plain = float(number)
        except ValueError:
            if self.unit is not None and re.fullmatch(r"[\d\s/-]+", cell):
                return f"{cell} {self.unit}"  # 1 7/8 below "Position (in)"
            return cell if self.field in ("surface", "thermometer") else number
        return plain if self.unit is None else f"{number} {self.unit}"


def _column(heading: str, first: str) -> _Column | None:
    """The column of a heading; None for notes and for columns without any."""
    if heading in FIELDS:
        return _Column(heading, None)
    text = re.sub(r"[\s_]+", " ", heading.lower()).strip(" .:")
    if not text or text in NOTES:
        return None
    words, unit = _without_unit(text)
    for field, names in HEADINGS.items():
        if words in names:
            known = any(field in fields and unit in units for fields, units in SAME)
            return _Column(field, None if known else unit)
    if words == "" and unit in ("degC", "F"):
        return _Column("displayed_degC", None if unit == "degC" else unit)
    if words == "" and unit in ("mm", "cm", "in"):
        return _Column("position_mm", None if unit == "mm" else unit)
    raise _refused(
        f'{first}: nothing is known of a column "{heading[:40]}".',
        "Head it position, temperature, time, thermometer, surface, emissivity set or "
        "uncertainty, with the unit in brackets; or notes, to have it passed over.",
    )


def _without_unit(text: str) -> tuple[str, str | None]:
    """A heading's words, and the unit that stands behind them, in brackets or not."""
    bracketed = re.fullmatch(r"(.*?)[\s,]*[\[(]([^\])]+)[\])]", text)
    if bracketed is not None and bracketed[2].strip() in UNITS:
        return bracketed[1].strip(), UNITS[bracketed[2].strip()]
    if text in UNITS:
        return "", UNITS[text]
    for written in sorted(UNITS, key=len, reverse=True):
        if text.endswith((" " + written, "," + written)):
            return text[: -len(written) - 1].strip(" ,"), UNITS[written]
    return text, None


def _ask_about_fahrenheit(request: dict[str, Any], found: list[Row], name: str) -> None:
    """Refuse a skin hotter than the gas inside it could make it: °F, as likely as not."""
    try:
        gas = float(request["case"]["main_pipe"]["gas_temperature_degC"])
    except (KeyError, TypeError, ValueError):
        return  # not a plain number of °C, or none: checked where all requests are
    for line, reading in found:
        shown = reading.get("displayed_degC")
        if isinstance(shown, float) and shown > gas + GAS_SLACK:
            raise _refused(
                f"{name or 'The table'}, line {line}: {shown:g} °C on the skin is hotter than the "
                f"gas in the main pipe, {gas:g} °C.",
                "Did it show °F? Then head the column temperature (°F). If not, mend "
                "case.main_pipe.gas_temperature_degC.",
            )


def _own(body: Any) -> list[Any] | None:
    """The body's own readings; None where it cannot have any."""
    if not isinstance(body, dict):
        return None
    own = cast("dict[str, Any]", body).get("readings", [])
    return cast("list[Any]", own) if isinstance(own, list) else None


def _refused(detail: str, remedy: str) -> Problem:
    entry = Entry(("readings",), "no_table", detail, remedy)
    return Problem(INVALID, entry.sentence(), entries=[entry])
