"""Where the designs of a sweep are written: files and standard output, to be gone on with.

NdjsonWriter     the lines of the service's answer
CsvWriter        a table, a design a row
ParquetWriter    the same table in columns: see parquet.py

All write whole chunks. What a file holds when a run ends early is a beginning of what it holds in
the end, and the file, or one beside it, tells which sweep it belongs to: so the rest can be written
behind it, and no other.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from warmbranch_service.sweep.parquet import ParquetWriter
from warmbranch_service.sweep.plan import Chunk, Plan
from warmbranch_service.sweep.table import csv_text, heading, rows
from warmbranch_service.sweep.writing import Writer, WritingError, not_written, of_another_sweep

TAIL = 1 << 16
"""Bytes that are read at once, from the end, to find the last line."""


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
            raise WritingError(
                f"{path} is there already. Add --resume to go on with it, or give another --output."
            )
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
        try:
            self._stream.write(content)
            self._stream.flush()
        except BrokenPipeError:
            raise  # whoever read has gone: no failure
        except OSError as error:
            raise not_written(self._name, error) from None

    def close(self) -> None:
        if self._stream is not sys.stdout.buffer:
            self._stream.close()


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


def _ndjson_file(plan: Plan, path: Path, *, resume: bool) -> NdjsonWriter:
    if not resume:
        return NdjsonWriter(plan, path.open("wb"), str(path))
    stream = path.open("r+b")
    try:
        first = stream.readline()
        header = plan.header() + b"\n"
        if not header.startswith(first):
            raise of_another_sweep(path)
        line, keep = 1, 0
        for content, end in _whole_lines_backwards(stream):
            if (after := plan.line_after(content)) is not None:
                line, keep = after, end
                break
        stream.truncate(keep)
        stream.seek(keep)
        return NdjsonWriter(plan, stream, str(path), line)
    except BaseException:
        stream.close()
        raise


def _csv_file(plan: Plan, path: Path, *, resume: bool) -> CsvWriter:
    note = path.with_name(path.name + ".resume")
    sweep = {"identity": plan.identity, "designs": plan.designs}
    if not resume:
        note.write_text(json.dumps({"sweep": sweep}) + "\n", encoding="utf-8")
        return CsvWriter(plan, path.open("wb"), str(path), note=note)
    stream = path.open("r+b")
    try:
        head = csv_text([heading(plan)])
        if not head.startswith(stream.readline()):
            raise of_another_sweep(path)
        designs, (last, keep) = None, next(_whole_lines_backwards(stream), (b"", 0))
        if last:
            index = last.partition(b",")[0]
            designs = int(index) + 1 if index.isdigit() else 0  # behind the heading
        if note.exists():
            if json.loads(note.read_bytes()).get("sweep") != sweep:
                raise of_another_sweep(path)
        elif designs != plan.designs:
            raise WritingError(
                f"{note}, which tells what sweep {path} holds, is missing. Give another --output."
            )
        stream.truncate(keep)
        stream.seek(keep)
        return CsvWriter(plan, stream, str(path), designs, note)
    except BaseException:
        stream.close()
        raise


def _whole_lines_backwards(stream: BinaryIO) -> Iterator[tuple[bytes, int]]:
    """Whole lines, the last one first, each with the place behind it."""
    end = _last_newline(stream, stream.seek(0, os.SEEK_END)) + 1
    while end > 0:
        begin = _last_newline(stream, end - 1) + 1
        stream.seek(begin)
        yield stream.read(end - begin), end
        end = begin


def _last_newline(stream: BinaryIO, before: int) -> int:
    """Place of the last newline before another place; -1 where there is none."""
    while before > 0:
        start = max(0, before - TAIL)
        stream.seek(start)
        found = stream.read(before - start).rfind(b"\n")
        if found >= 0:
            return start + found
        before = start
    return -1
