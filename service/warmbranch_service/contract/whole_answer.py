"""What every whole answer can do in a program: say itself shortly, in full, as a table, a picture.

pandas and matplotlib are imported when they are asked for, and not before.
"""

from __future__ import annotations

import csv
import html
import io
from importlib import import_module
from typing import Any, ClassVar, cast

from pydantic import BaseModel

from warmbranch_service.contract.fields import AnswerModel
from warmbranch_service.contract.missing_extra import MissingExtraError


class WholeAnswer(AnswerModel):
    """Base of the answer to a whole question."""

    TABLE: ClassVar[str]
    """The part that is the table of :meth:`to_frame` unless another is named."""

    SHORT: ClassVar[tuple[str, ...]]
    """The few numbers that ``repr`` tells, by their paths."""

    def report(self, *, full: bool = True) -> str:
        """The answer as the command line prints it; without ``full`` its notes are shortened."""
        raise NotImplementedError

    def to_json(self) -> bytes:
        """The answer as the service sends it, to the byte."""
        return self.model_dump_json().encode()

    def to_frame(self, part: str | None = None) -> Any:
        """One part of the answer as a ``pandas.DataFrame``.

        Parameters
        ----------
        part : str, optional
            A field that holds a list of objects, or an object of lists of one length, such as
            ``"profile"``. The most useful one when left out.

        Raises
        ------
        ValueError
            If the answer has no such part, or it is no table.
        MissingExtraError
            Without pandas.
        """
        columns = self._table(part)
        try:
            pandas = import_module("pandas")
        except ImportError:
            raise MissingExtraError("to_frame", "pandas", "frame") from None
        return pandas.DataFrame(columns)

    def to_csv(self, part: str | None = None) -> str:
        """One part of the answer as CSV that charts as it is: a column a quantity, names above.

        Raises
        ------
        ValueError
            As for :meth:`to_frame`.
        """
        columns = self._table(part)
        flat = [_flat(row) for row in _as_rows(columns)]
        stream = io.StringIO()
        writer = csv.DictWriter(stream, list(flat[0]), lineterminator="\n", extrasaction="ignore")
        writer.writeheader()
        writer.writerows(flat)
        return stream.getvalue()

    def plot(self) -> Any:
        """A picture of the answer, a ``matplotlib.figure.Figure``.

        Raises
        ------
        MissingExtraError
            Without matplotlib.
        """
        from warmbranch_service.contract import pictures

        return pictures.picture(self)

    def _table(self, part: str | None) -> Any:
        name = self.TABLE if part is None else part
        columns = _columns(getattr(self, name, None))
        if columns is None:
            known = [n for n in type(self).model_fields if _columns(getattr(self, n)) is not None]
            raise ValueError(f"{name!r} is no table here. Give one of: {', '.join(known)}.")
        return columns

    def __repr__(self) -> str:
        told = (f"{_name(path)}={_short(_at(self, path))}" for path in self.SHORT)
        return f"<{type(self).__name__}: {', '.join(told)}; report() tells all>"

    __str__ = __repr__

    def _repr_html_(self) -> str:
        """What a notebook shows: the answer in words, and its few numbers."""
        rows = "".join(
            f"<tr><th style='text-align:left'>{html.escape(_name(path))}</th>"
            f"<td style='text-align:right'>{html.escape(_short(_at(self, path)))}</td></tr>"
            for path in self.SHORT
        )
        words = html.escape(str(getattr(self, "summary", "")))
        return f"<div><p>{words}</p><table>{rows}</table></div>"


def _name(path: str) -> str:
    """What a number is of: its own name, or that of what it is the median of."""
    *above, own = path.split(".")
    return above[-1] if own == "median" else own


def _at(answer: BaseModel, path: str) -> object:
    here: object = answer
    for part in path.split("."):
        here = None if here is None else getattr(here, part)
    return here


def _short(value: object) -> str:
    if isinstance(value, list):
        value = cast("list[object]", value)[0] if value else None
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _columns(part: object) -> Any:
    """What a data frame is made of, or None where ``part`` is no table."""
    if isinstance(part, list):
        entries = cast("list[object]", part)
        if entries and all(isinstance(entry, BaseModel) for entry in entries):
            return [cast("BaseModel", entry).model_dump() for entry in entries]
        return None
    if not isinstance(part, BaseModel):
        return None
    columns = {name: cast("list[object]", value) for name, value in part if isinstance(value, list)}
    lengths = {len(value) for value in columns.values()}
    # An object beside the columns says something of them all, and is no column.
    plain = all(
        value is None or name in columns or isinstance(value, BaseModel) for name, value in part
    )
    return columns if len(columns) > 1 and len(lengths) == 1 and plain else None


def _as_rows(table: Any) -> list[dict[str, Any]]:
    """Rows of what :func:`_columns` gives: such rows already, or columns of one length."""
    if isinstance(table, list):
        return cast("list[dict[str, Any]]", table)
    columns = cast("dict[str, list[Any]]", table)
    return [
        dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)
    ]


def _flat(row: dict[str, Any]) -> dict[str, Any]:
    """Lists within a row as columns of their own, numbered from 1; what is null stays empty."""
    found: dict[str, Any] = {}
    for name, value in row.items():
        if isinstance(value, (list, tuple)):
            entries = cast("list[Any]", value)
            found |= {f"{name} {i}": entry for i, entry in enumerate(entries, start=1)}
        else:
            found[name] = value
    return found
