"""The designs of a sweep as a table, made from their lines: equal lines are equal rows.

Columns: index, each varied field, outcome, each output, errors. Names are those of the lines, and
so are the numbers; ``None`` stands where there is none.
"""

from __future__ import annotations

import csv
import io
from typing import Any

from pydantic_core import from_json

from warmbranch_service.sweep.plan import Chunk, Plan


def heading(plan: Plan) -> list[str]:
    """Names of the columns."""
    return ["index", *_inputs(plan), "outcome", *_outputs(plan), "errors"]


def units(plan: Plan) -> list[str | None]:
    """Unit of each column; None of text."""
    outputs = plan.outputs()
    return ["1", *(f.unit for f in plan.fields), None, *(output.unit for output in outputs), None]


def rows(plan: Plan, chunk: Chunk) -> list[list[Any]]:
    """Rows of one chunk."""
    outputs = _outputs(plan)
    return [_row(from_json(line), outputs) for line in chunk.rows]


def csv_text(table: list[list[Any]]) -> bytes:
    """Rows as CSV after RFC 4180, their lines ended as Unix ends them."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(table)
    return text.getvalue().encode()


def _row(line: dict[str, Any], outputs: list[str]) -> list[Any]:
    values = line["outputs"]
    return [
        line["index"],
        *line["inputs"].values(),
        line["outcome"],
        *([None] * len(outputs) if values is None else values.values()),
        " ".join(f"{error['detail']} {error['remedy']}" for error in line["errors"]) or None,
    ]


def _inputs(plan: Plan) -> list[str]:
    return [field.name for field in plan.fields]


def _outputs(plan: Plan) -> list[str]:
    return [output.name for output in plan.outputs()]
