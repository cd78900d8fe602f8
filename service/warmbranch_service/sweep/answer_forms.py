"""The forms in which ``POST /v1/sweep`` answers, a chunk at a time.

NdjsonLines     a header, a line a design, a line of progress a chunk, the end
CsvLines        a heading, a row a design: see table.py for its columns

In either, from_line counts the lines of that form, and what begins there is the same bytes.
"""

from __future__ import annotations

from typing import Protocol

from warmbranch_service.contract.errors import INVALID, Entry, Problem
from warmbranch_service.contract.forms import CSV
from warmbranch_service.sweep.plan import Chunk, Plan
from warmbranch_service.sweep.table import csv_text, heading, rows

NDJSON = "application/x-ndjson"
FORMS = (NDJSON, CSV)


class AnswerForm(Protocol):
    """Writes the chunks of a sweep, from a line on.

    Attributes
    ----------
    tells_failures : bool
        Whether a failure amid the answer can be told in it; if not, only a connection that breaks
        off can.
    """

    tells_failures: bool

    def chunks(self) -> range:
        """Numbers of the chunks that are needed."""
        ...

    def beginning(self) -> bytes:
        """What stands above the first design."""
        ...

    def text(self, chunk: Chunk) -> bytes:
        """One chunk."""
        ...

    def end(self) -> bytes:
        """What stands below the last design."""
        ...


def answer_form(name: str, plan: Plan, from_line: int) -> AnswerForm:
    """The form of a media type.

    Raises
    ------
    Problem
        ``invalid-request`` where the answer has no such line.
    """
    return CsvLines(plan, from_line) if name == CSV else NdjsonLines(plan, from_line)


class NdjsonLines:
    """JSON objects, one a line."""

    tells_failures = True

    def __init__(self, plan: Plan, from_line: int) -> None:
        self._plan, self._from = plan, from_line

    def chunks(self) -> range:
        """Those with a line from there on."""
        return self._plan.chunks_from(self._from)

    def beginning(self) -> bytes:
        """The header."""
        return self._plan.header() + b"\n" if self._from == 1 else b""

    def text(self, chunk: Chunk) -> bytes:
        """The designs and a line of progress."""
        return b"".join(line + b"\n" for line in self._plan.lines_of(chunk, self._from))

    def end(self) -> bytes:
        """The line that says that nothing is missing."""
        return self._plan.end() + b"\n"


class CsvLines:
    """A table with a heading."""

    tells_failures = False

    def __init__(self, plan: Plan, from_line: int) -> None:
        lines = plan.designs + 1
        if from_line > lines:
            entry = Entry(
                ("from_line",),
                "beyond_the_end",
                f"As CSV the answer has {lines} lines: a heading and a line a design.",
                f"Give a line from 1 to {lines}.",
                from_line,
                "1",
            )
            raise Problem(INVALID, entry.sentence(), entries=[entry])
        self._plan, self._from = plan, from_line
        self._above = max(0, from_line - 2)

    def chunks(self) -> range:
        """Those with a row from there on."""
        return range(self._plan.chunk_of(self._above), self._plan.chunks)

    def beginning(self) -> bytes:
        """The heading."""
        return csv_text([heading(self._plan)]) if self._from == 1 else b""

    def text(self, chunk: Chunk) -> bytes:
        """The designs."""
        return csv_text(rows(self._plan, chunk)[max(0, self._above - chunk.start) :])

    def end(self) -> bytes:
        """A table has none."""
        return b""
