"""The table of a sweep as one Parquet file.

Its end, without which it cannot be read, is written when it is closed. So it is written beside its
place, which it takes when it is whole: what stands there can be read at any time. To go on with a
file, what it holds is copied first.
"""

from __future__ import annotations

import contextlib
import fcntl
import importlib
import json
import os
from pathlib import Path
from typing import Any, BinaryIO, cast

from warmbranch_service.sweep.plan import Chunk, Plan
from warmbranch_service.sweep.table import heading, rows, units
from warmbranch_service.sweep.writing import WritingError, not_written, of_another_sweep

DESIGNS_A_GROUP = 64 * 1024
"""Rows of a row group: what is held in memory until it is written, some ten megabytes."""

KEY = b"warmbranch"


class ParquetWriter:
    """A Parquet file; columns as in table.py, their units in the columns' metadata.

    Parameters
    ----------
    plan : Plan
    path : Path
    resume : bool
        Go on with the file.

    Raises
    ------
    WritingError
        pyarrow is missing, or the file is not to be gone on with.
    """

    next_line = None

    def __init__(self, plan: Plan, path: Path, *, resume: bool) -> None:
        self._arrow, self._parquet = _pyarrow()
        self._plan, self._path = plan, path
        self._schema = self._schema_of(plan)
        self._waiting: list[Any] = []
        self._rows_waiting = 0
        self.designs = 0
        self._held = 0  # designs that can be read in the file's place, whatever becomes of this
        self._new = path.with_name(path.name + ".new")
        self._file: Any = None
        self._stream: BinaryIO | None = None
        if not resume:
            self._begin()
        elif not self._is_whole():
            self._begin()
            self._copy()
        self.first = plan.chunk_of(self.designs)

    def write(self, chunk: Chunk) -> None:
        """The chunk's rows."""
        skipped = max(0, self.designs - chunk.start)
        columns = zip(*rows(self._plan, chunk)[skipped:], strict=True)
        arrays = [
            self._arrow.array(column, field.type)
            for column, field in zip(columns, self._schema, strict=True)
        ]
        self._take(self._arrow.Table.from_arrays(arrays, schema=self._schema))
        self.designs = chunk.start + len(chunk.rows)

    def end(self) -> None:
        """The end is written by ``close``."""

    def close(self) -> None:
        """Write what waits and the file's end, and put it into its place."""
        if self._file is None:
            return
        try:
            self._flush(least=1)
            self._file.close()
            self._sink().flush()
            os.fsync(self._sink().fileno())
            os.replace(self._new, self._path)
        except OSError as error:
            raise self._failed(error) from None
        self._file = None
        self._sink().close()

    def _sink(self) -> BinaryIO:
        assert self._stream is not None, "it was begun"
        return self._stream

    def _failed(self, error: OSError) -> WritingError:
        """Give up what was begun: without its end nothing of it can be read."""
        file, self._file = self._file, None
        with contextlib.suppress(OSError):
            file.close()
        with contextlib.suppress(OSError):  # what waits there finds no room either
            self._sink().close()
        self._new.unlink(missing_ok=True)
        self.designs = self._held
        return not_written(self._path, error)

    def _schema_of(self, plan: Plan) -> Any:
        arrow, fields = self._arrow, cast("list[Any]", [])
        for name, unit in zip(heading(plan), units(plan), strict=True):
            kind = arrow.string() if unit is None else arrow.float64()
            metadata = None if unit is None else {"unit": unit}
            fields.append(
                arrow.field(name, arrow.int64() if name == "index" else kind, metadata=metadata)
            )
        told = {"identity": plan.identity, "designs": plan.designs}
        return arrow.schema(fields, metadata={KEY: json.dumps(told)})

    def _begin(self) -> None:
        self._stream = self._new.open("ab")
        try:
            fcntl.flock(self._stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self._stream.close()
            raise WritingError(
                f"{self._path} is being written by another process. Give another --output."
            ) from None
        self._stream.truncate(0)
        self._file = self._parquet.ParquetWriter(self._stream, self._schema, compression="zstd")

    def _is_whole(self) -> bool:
        """Whether the file holds this sweep from beginning to end."""
        with self._readable() as held:
            if not held.schema_arrow.equals(self._schema, check_metadata=True):
                raise of_another_sweep(self._path)
            rows_held = held.metadata.num_rows
            if rows_held > self._plan.designs:
                raise self._damaged()
            self._held = rows_held
            if rows_held < self._plan.designs:
                return False
            self.designs = rows_held
            return True

    def _readable(self) -> Any:
        try:
            return self._parquet.ParquetFile(self._path)
        except (self._arrow.lib.ArrowException, OSError):
            raise self._damaged() from None

    def _damaged(self) -> WritingError:
        return WritingError(
            f"{self._path} is no Parquet file with its end written: it was cut off by force, "
            "or something else wrote it. Give another --output."
        )

    def _copy(self) -> None:
        """Copy what the file holds, a row group at a time, as far as it can be read."""
        with self._readable() as held:
            for group in range(held.num_row_groups):
                try:
                    table = held.read_row_group(group)
                except (self._arrow.lib.ArrowException, OSError):
                    return
                indices = range(self.designs, self.designs + table.num_rows)
                if table["index"].to_pylist() != [*indices]:
                    return
                self._take(table)
                self.designs += table.num_rows

    def _take(self, table: Any) -> None:
        self._waiting.append(table)
        self._rows_waiting += table.num_rows
        try:
            self._flush(least=DESIGNS_A_GROUP)
        except OSError as error:
            raise self._failed(error) from None

    def _flush(self, least: int) -> None:
        """Write row groups, all full but for the last one of the file."""
        while self._rows_waiting >= least:
            table = self._arrow.concat_tables(self._waiting)
            group = table.slice(0, DESIGNS_A_GROUP).combine_chunks()
            self._file.write_table(group, row_group_size=DESIGNS_A_GROUP)
            rest = table.slice(DESIGNS_A_GROUP)
            self._waiting = [rest] if rest.num_rows else []
            self._rows_waiting = rest.num_rows


def _pyarrow() -> tuple[Any, Any]:
    try:
        return importlib.import_module("pyarrow"), importlib.import_module("pyarrow.parquet")
    except ImportError:
        raise WritingError(
            "Parquet needs pyarrow, which is not installed here: "
            "pip install 'warmbranch[parquet]'. CSV needs nothing more: --output FILE.csv."
        ) from None
