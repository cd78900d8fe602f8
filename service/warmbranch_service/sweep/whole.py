"""A whole sweep in a Python program: all designs at once, and the bytes that the service sends."""

from __future__ import annotations

import json
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from warmbranch_service.contract.missing_extra import MissingExtraError
from warmbranch_service.sweep import choosing
from warmbranch_service.sweep.answer_forms import CsvLines, NdjsonLines
from warmbranch_service.sweep.answer_schema import OUTCOMES, SweepHeader, SweepHeading, SweepRow
from warmbranch_service.sweep.plan import Chunk, Plan
from warmbranch_service.sweep.request import SweepRequest


@dataclass(frozen=True, repr=False)
class Swept:
    """All designs of a sweep.

    Parameters
    ----------
    heading : SweepHeading
        Names and units of what is varied and of what is reported.
    designs : list of SweepRow
        In order.
    """

    heading: SweepHeading
    designs: list[SweepRow]
    _ndjson: bytes
    _csv: bytes

    def to_ndjson(self) -> bytes:
        """The answer as the service sends it, to the byte: JSON objects, one a line."""
        return self._ndjson

    def to_csv(self) -> str:
        """The answer as the service sends it as CSV: a design a row."""
        return self._csv.decode()

    def to_frame(self) -> Any:
        """A ``pandas.DataFrame`` with a design a row: what is varied, the outcome, the outputs.

        Raises
        ------
        MissingExtraError
            Without pandas.
        """
        try:
            pandas = import_module("pandas")
        except ImportError:
            raise MissingExtraError("to_frame", "pandas", "frame") from None
        nothing = {output.name: None for output in self.heading.outputs}
        return pandas.DataFrame(
            [
                {**design.inputs, "outcome": design.outcome, **(design.outputs or nothing)}
                for design in self.designs
            ],
            index=pandas.Index([design.index for design in self.designs], name="index"),
        )

    def __len__(self) -> int:
        return len(self.designs)

    def __repr__(self) -> str:
        ended = [design.outcome for design in self.designs]
        counts = [f"{ended.count(kind)} {kind}" for kind in OUTCOMES if kind in ended]
        return f"<Swept: {len(self)} designs: {', '.join(counts)}>"


def swept(request: SweepRequest, *, processes: int = 1) -> Swept:
    """Solve all designs of a request; ``from_line`` in it does not matter.

    Parameters
    ----------
    request : SweepRequest
    processes : int
        Of this machine, about one a core; the answer is the same bytes.
    """
    plan = Plan(request)
    executor = choosing.executor(processes=processes)
    try:
        chunks = list(executor.solved(plan, range(plan.chunks)))
    finally:
        executor.close()
    return _whole(plan, chunks)


def _whole(plan: Plan, chunks: list[Chunk]) -> Swept:
    lines, table = NdjsonLines(plan, 1), CsvLines(plan, 1)
    ndjson, csv = (
        b"".join([form.beginning(), *(form.text(chunk) for chunk in chunks), form.end()])
        for form in (lines, table)
    )
    values = [json.loads(line) for line in ndjson.splitlines()]
    return Swept(
        SweepHeader.model_validate(values[0]).sweep,
        [SweepRow.model_validate(value) for value in values if "index" in value],
        ndjson,
        csv,
    )
