"""Where the designs of a sweep are written: files and standard output, to be gone on with.

NdjsonWriter     the lines of the service's answer
CsvWriter        a table, a design a row
ParquetWriter    the same table in columns: see parquet.py

All write whole chunks. What a file holds when a run ends early is a beginning of what it holds in
the end, and the file, or one beside it, tells which sweep it belongs to: so the rest can be written
behind it, and no other. Only what can be read back counts: of a file that is gone on with, each
line is looked at, and from the first that is not the one that belongs there all is made anew.
"""

from __future__ import annotations

import csv
import fcntl
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO, cast

from warmbranch_service.sweep.parquet import ParquetWriter
from warmbranch_service.sweep.plan import Chunk, Plan
from warmbranch_service.sweep.table import csv_text, heading, rows
from warmbranch_service.sweep.writing import (
    Writer,
    WritingError,
    is_there_already,
    not_written,
    of_another_sweep,
)

LONGEST_LINE = 1 << 20
"""Bytes; no line of a sweep comes near it."""


def to_standard_output(plan: Plan, form: str, line: int) -> Writer:
    """Write to standard output, from a line on if the format has such."""
    stream = sys.stdout.buffer
    if form == "csv":
        return CsvWriter(plan, stream, "standard output")
    return NdjsonWriter(plan, stream, "standard output", line)


def to_file(plan: Plan, path: Path, form: str, *, resume: bool) -> Writer:
    """Write a new file, or go on with one.

    Parameters
    ----------
    plan : Plan
    path : Path
    form : str
        ``ndjson``, ``csv`` or ``parquet``.
    resume : bool
        Go on with the file, if there is one.

    Raises
    ------
    WritingError
        The file is there and not to be gone on with, is of another sweep, or cannot be written.
    """
    try:
        is_there = path.exists() and (not path.is_file() or path.stat().st_size > 0)
        if is_there and not resume:
            raise is_there_already(path)
        if form == "parquet":
            return ParquetWriter(plan, path, resume=is_there)
        if form == "csv":
            return _csv_file(plan, path, resume=is_there)
        return _ndjson_file(plan, path, resume=is_there)
    except OSError as error:
        raise not_written(path, error) from None


class _Stream:
    """Whole pieces to a stream, each out of this process before the next is made."""

    def __init__(self, stream: BinaryIO, name: str) -> None:
        self._stream, self._name = stream, name

    def put(self, content: bytes) -> None:
        rest = memoryview(content)
        try:
            while rest:
                rest = rest[self._stream.write(rest) :]
            self._stream.flush()
        except BrokenPipeError:
            raise  # whoever read has gone: no failure
        except OSError as error:
            raise not_written(self._name, error) from None

    def close(self) -> None:
        if self._stream is sys.stdout.buffer:
            return
        try:
            with self._stream:
                os.fsync(self._stream.fileno())  # some disks say only then that they are full
        except OSError as error:
            raise not_written(self._name, error) from None


class NdjsonWriter:
    """The lines of the service's answer, byte for byte.

    Parameters
    ----------
    plan : Plan
    stream : binary stream
    name : str
        What to call it in a failure.
    line : int, optional
        Line to begin with.
    """

    def __init__(self, plan: Plan, stream: BinaryIO, name: str, line: int = 1) -> None:
        self._plan, self._stream = plan, _Stream(stream, name)
        self.next_line = line
        self.first = plan.chunks_from(line).start
        self.designs = plan.designs_above(line)
        if line == 1:
            self._stream.put(plan.header() + b"\n")
            self.next_line = 2

    def write(self, chunk: Chunk) -> None:
        """The chunk's lines and its line of progress."""
        lines = self._plan.lines_of(chunk, self.next_line)
        self._stream.put(b"".join(line + b"\n" for line in lines))
        self.next_line += len(lines)
        self.designs = chunk.start + len(chunk.rows)

    def end(self) -> None:
        """The last line."""
        if self.next_line == self._plan.lines:
            self._stream.put(self._plan.end() + b"\n")
            self.next_line += 1

    def close(self) -> None:
        """The lines are written."""
        self._stream.close()


class CsvWriter:
    """A table after RFC 4180, its lines ended as Unix ends them; see table.py for its columns.

    Parameters
    ----------
    plan : Plan
    stream : binary stream
    name : str
        What to call it in a failure.
    designs : int, optional
        Designs that are written; none writes the heading.
    note : Path, optional
        File that tells which sweep it is until all is written.
    """

    next_line = None

    def __init__(
        self,
        plan: Plan,
        stream: BinaryIO,
        name: str,
        designs: int | None = None,
        note: Path | None = None,
    ) -> None:
        self._plan, self._stream, self._note = plan, _Stream(stream, name), note
        self.designs = designs or 0
        self.first = plan.chunk_of(self.designs)
        if designs is None:
            self._stream.put(csv_text([heading(plan)]))

    def write(self, chunk: Chunk) -> None:
        """The chunk's rows."""
        skipped = max(0, self.designs - chunk.start)
        self._stream.put(csv_text(rows(self._plan, chunk)[skipped:]))
        self.designs = chunk.start + len(chunk.rows)

    def end(self) -> None:
        """Nothing is left to go on with."""
        if self._note is not None:
            self._note.unlink(missing_ok=True)

    def close(self) -> None:
        """The rows are written."""
        self._stream.close()


def _opened(path: Path, *, resume: bool) -> BinaryIO:
    """The file, for this process alone; empty unless it is gone on with.

    Not buffered: what is told as written has left this process.
    """
    stream = os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666), "r+b", 0)
    try:
        try:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise WritingError(
                f"{path} is being written by another process. Give another --output."
            ) from None
        if not resume and os.fstat(stream.fileno()).st_size:
            raise is_there_already(path)
    except BaseException:
        stream.close()
        raise
    return cast("BinaryIO", stream)


def _ndjson_file(plan: Plan, path: Path, *, resume: bool) -> NdjsonWriter:
    stream = _opened(path, resume=resume)
    try:
        line = 1
        if resume:
            _refuse_another_sweep(path, plan.header() + b"\n")
            line += _keep_what_fits(stream, path, lambda content, i: plan.is_line(content, i + 1))
        return NdjsonWriter(plan, stream, str(path), line)
    except BaseException:
        stream.close()
        raise


def _csv_file(plan: Plan, path: Path, *, resume: bool) -> CsvWriter:
    note = path.with_name(path.name + ".resume")
    sweep = {"identity": plan.identity, "designs": plan.designs}
    stream = _opened(path, resume=resume)
    try:
        if not resume:
            note.write_text(json.dumps({"sweep": sweep}) + "\n", encoding="utf-8")
            return CsvWriter(plan, stream, str(path), note=note)
        names = heading(plan)
        head = csv_text([names])

        def fits(content: bytes, i: int) -> bool:
            if i == 0:
                return content + b"\n" == head
            return i <= plan.designs and _is_row(content, i - 1, len(names))

        _refuse_another_sweep(path, head)
        lines = _count_what_fits(path, fits)[0]
        if note.exists():
            if _noted(note) != sweep:
                raise of_another_sweep(path)
        elif lines - 1 != plan.designs:
            raise WritingError(
                f"{note}, which tells what sweep {path} holds, is missing. Give another --output."
            )
        _keep_what_fits(stream, path, fits)
        return CsvWriter(plan, stream, str(path), lines - 1 if lines else None, note)
    except BaseException:
        stream.close()
        raise


def _noted(note: Path) -> Any:
    """The sweep that a note tells of."""
    try:
        return json.loads(note.read_bytes())["sweep"]
    except (ValueError, TypeError, KeyError):
        raise WritingError(
            f"{note}, which tells what sweep is being written, is damaged. Give another --output."
        ) from None


def _refuse_another_sweep(path: Path, first: bytes) -> None:
    """Refuse a file whose first line, as far as it goes, is another."""
    with path.open("rb") as stream:
        if not first.startswith(stream.read(len(first))):
            raise of_another_sweep(path)


def _is_row(content: bytes, index: int, columns: int) -> bool:
    """Whether a line is that of a design: so many cells, the first of them its index."""
    try:
        (cells,) = csv.reader([content.decode("utf-8")], strict=True)
    except (UnicodeDecodeError, ValueError, csv.Error):
        return False
    return len(cells) == columns and cells[0] == str(index)


def _count_what_fits(path: Path, fits: Callable[[bytes, int], bool]) -> tuple[int, int]:
    """How many whole lines from the first on fit their number, from 0; and where they end."""
    count = end = 0
    with path.open("rb") as stream:
        while (line := stream.readline(LONGEST_LINE)).endswith(b"\n"):
            if not fits(line[:-1], count):
                break
            count, end = count + 1, end + len(line)
    return count, end


def _keep_what_fits(stream: BinaryIO, path: Path, fits: Callable[[bytes, int], bool]) -> int:
    """Cut off all behind the lines that fit; how many those are."""
    count, end = _count_what_fits(path, fits)
    stream.truncate(end)
    stream.seek(end)
    return count
