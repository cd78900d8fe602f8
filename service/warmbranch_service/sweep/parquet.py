"""The table of a sweep as one Parquet file.

Its end, without which it cannot be read, is written when it is closed. To go on with a file, what
it holds is copied to a new one beside it, which takes its place when it is closed in turn.
"""

from __future__ import annotations

import importlib
import json
import os
from pathlib import Path
from typing import Any, cast

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
        self._new = path.with_name(path.name + ".new") if resume else path
        self._file: Any = None
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
        """Write what waits and the file's end."""
        if self._file is None:
            return
        try:
            self._flush(least=1)
            self._file.close()
            if self._new != self._path:
                os.replace(self._new, self._path)
        except OSError as error:
            raise not_written(self._path, error) from None
        finally:
            self._file = None

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
        self._file = self._parquet.ParquetWriter(self._new, self._schema, compression="zstd")

    def _is_whole(self) -> bool:
        """Whether the file holds this sweep from beginning to end."""
        try:
            held = self._parquet.ParquetFile(self._path)
        except self._arrow.ArrowInvalid:
            raise WritingError(
                f"{self._path} is no Parquet file with its end written: it was cut off by force, "
                "or something else wrote it. Give another --output."
            ) from None
        with held:
            if not held.schema_arrow.equals(self._schema, check_metadata=True):
                raise of_another_sweep(self._path)
            if held.metadata.num_rows < self._plan.designs:
                return False
            self.designs = held.metadata.num_rows
            return True

    def _copy(self) -> None:
        """Copy what the file holds, a row group at a time."""
        with self._parquet.ParquetFile(self._path) as held:
            for group in range(held.num_row_groups):
                table = held.read_row_group(group)
                self._take(table)
                self.designs += table.num_rows

    def _take(self, table: Any) -> None:
        self._waiting.append(table)
        self._rows_waiting += table.num_rows
        try:
            self._flush(least=DESIGNS_A_GROUP)
        except OSError as error:
            raise not_written(self._path, error) from None

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
