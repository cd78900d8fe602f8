"""A sweep laid out: which designs, in which chunks, on which lines of the answer.

    line 1                       header
    then, a chunk at a time      one line a design, one line of progress
    last line                    end

Nothing on a line depends on when or where it was made, so any line can be made again.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, cast
from weakref import WeakValueDictionary

import numpy as np
from pydantic import BaseModel
from pydantic_core import from_json

from warmbranch.base.batch import FloatArray
from warmbranch.many.sampling import (
    Distribution,
    GivenPoints,
    GridPoints,
    LatinHypercubePoints,
    ListPoints,
    Points,
    SobolPoints,
)
from warmbranch_service.case.fields import CaseField
from warmbranch_service.steady.outputs import OUTPUTS, loss_name
from warmbranch_service.sweep.answer_schema import (
    SweepEnd,
    SweepHeader,
    SweepInput,
    SweepOutput,
    SweepProgress,
    SweepRow,
)
from warmbranch_service.sweep.distributions import distribution, grid_values, written
from warmbranch_service.sweep.request import SweepRequest
from warmbranch_service.sweep.varied import (
    CHUNK,
    GridSampling,
    HypercubeSampling,
    ListSampling,
    SobolSampling,
    Vary,
)
from warmbranch_service.version import MODEL_VERSION

Inputs = list[float | str]

_DESIGN = SweepRow.model_fields.keys()


@dataclass(frozen=True)
class Task:
    """One chunk to be solved, complete in itself: it can be done anywhere and done again.

    Parameters
    ----------
    request : bytes
        The sweep's request as JSON.
    number : int
        Which chunk, from 0.
    start : int
        Index of the first design.
    points : (designs, fields) array
        See sampling.py.
    """

    request: bytes
    number: int
    start: int
    points: FloatArray


@dataclass(frozen=True)
class Chunk:
    """One chunk, solved.

    Parameters
    ----------
    number, start : int
    rows : tuple of bytes
        One line a design, without its end.
    outcomes : dict
        How many designs ended how.
    """

    number: int
    start: int
    rows: tuple[bytes, ...]
    outcomes: dict[str, int]


class Varied:
    """Values of one field from a coordinate of the points.

    Parameters
    ----------
    vary : Vary
    field : CaseField
    """

    def __init__(self, vary: Vary, field: CaseField) -> None:
        self._values: Inputs | None = None
        self._distribution: Distribution | None = None
        if vary.values is not None:
            self._values = [cast("float | str", field.kind.check(value)) for value in vary.values]
        elif vary.grid is not None:
            self._values = [*grid_values(vary.grid, field)]
        elif vary.spread is not None:
            self._distribution = distribution(vary.spread, field)

    def at(self, coordinate: FloatArray, *, are_places: bool) -> Inputs:
        """Values at a coordinate of each design.

        Parameters
        ----------
        coordinate : (designs,) array
        are_places : bool
            Whether coordinates are places among the values; else they are probabilities.
        """
        if self._distribution is not None:
            return [*written(self._distribution.quantile(coordinate))]
        assert self._values is not None, "the request has one way or the other"
        places = coordinate if are_places else np.floor(coordinate * len(self._values))
        return [self._values[int(place)] for place in places]


class Plan:
    """A sweep laid out.

    Parameters
    ----------
    request : SweepRequest
    points : (designs, fields) array, optional
        Points of one's own, in place of the request's sampling.
    """

    def __init__(self, request: SweepRequest, points: FloatArray | None = None) -> None:
        self.request = request
        self.fields = request.fields
        self.varied = [
            Varied(vary, field) for vary, field in zip(request.vary, self.fields, strict=True)
        ]
        self._given = None if points is None else GivenPoints(points)
        self.designs = request.designs if points is None else len(points)
        self.chunks = math.ceil(self.designs / CHUNK)
        self.lines = self.designs + self.chunks + 2
        dump = request.model_dump_json(by_alias=True, exclude_unset=True, exclude={"from_line"})
        self.json = dump.encode()

    @cached_property
    def points(self) -> Points:
        """Points of the designs; not drawn where tasks bring theirs."""
        return self._given or _points(self.request)

    def inputs(self, points: FloatArray) -> list[Inputs]:
        """Values of the varied fields, one list a field."""
        are_places = isinstance(self.request.sampling, (GridSampling, ListSampling))
        return [
            varied.at(points[:, i], are_places=are_places) for i, varied in enumerate(self.varied)
        ]

    def task(self, number: int) -> Task:
        """One chunk to be solved."""
        start = number * CHUNK
        return Task(self.json, number, start, self.points.between(start, start + CHUNK))

    def tasks(self, from_line: int = 1) -> Iterator[Task]:
        """The chunks that hold lines from ``from_line`` on."""
        return map(self.task, self.chunks_from(from_line))

    def chunks_from(self, line: int) -> range:
        """Numbers of the chunks that hold lines from ``line`` on."""
        first = self.chunks if line >= self.lines else max(0, line - 2) // (CHUNK + 1)
        return range(first, self.chunks)

    def chunk_of(self, designs: int) -> int:
        """The chunk to go on with when so many designs are there."""
        return self.chunks if designs >= self.designs else designs // CHUNK

    def designs_above(self, line: int) -> int:
        """How many designs stand above a line."""
        whole, rest = divmod(max(0, line - 2), CHUNK + 1)
        return min(self.designs, whole * CHUNK + min(rest, CHUNK))

    def is_line(self, content: bytes, number: int) -> bool:
        """Whether a text is the line of this answer with that number, from 1.

        Of a design its numbers are not looked at. A line that tells a failure is none: it gives way
        to what it stands for.
        """
        if number in (1, self.lines):
            return content == (self.header() if number == 1 else self.end())
        try:
            line = from_json(content)
        except ValueError:
            return False
        if number > self.lines or not isinstance(line, dict):
            return False
        told = cast("dict[str, Any]", line)
        chunk, place = divmod(number - 2, CHUNK + 1)
        index = chunk * CHUNK + place
        if place < CHUNK and index < self.designs:
            return told.keys() == _DESIGN and told["index"] == index
        progress: Any = told.get("progress")
        if not isinstance(progress, dict):
            return False
        return cast("dict[str, Any]", progress).get("next_line") == number + 1

    def first_line_of(self, chunk: int) -> int:
        """Line of a chunk's first design."""
        return 2 + chunk * (CHUNK + 1)

    def header(self) -> bytes:
        """The first line."""
        inputs = [
            SweepInput(name=field.name, pointer=field.pointer, unit=field.unit)
            for field in self.fields
        ]
        return _line(
            SweepHeader.of(
                designs=self.designs,
                lines=self.lines,
                inputs=inputs,
                outputs=self.outputs(),
                identity=self.identity,
            )
        )

    def outputs(self) -> list[SweepOutput]:
        """What is reported of every design, in order."""
        asked = self.request.asked
        outputs = [SweepOutput(name=name, unit=OUTPUTS[name].unit) for name in asked]
        return outputs + [SweepOutput(name=name, unit="dB") for name in self.loss_names]

    @property
    def loss_names(self) -> list[str]:
        """Names of the transmission losses that are asked for."""
        asked = self.request
        return [
            *(loss_name(value, "rpm") for value in asked.transmission_loss_at_rpm),
            *(loss_name(value, "Hz") for value in asked.transmission_loss_at_Hz),
        ]

    @property
    def identity(self) -> str:
        """Equal for sweeps whose lines are equal."""
        return hashlib.sha256(MODEL_VERSION.encode() + b"\n" + self.json).hexdigest()[:16]

    def lines_of(self, chunk: Chunk, from_line: int = 1) -> list[bytes]:
        """The chunk's lines, and its line of progress, from ``from_line`` on."""
        done = chunk.start + len(chunk.rows)
        last = self.first_line_of(chunk.number) + len(chunk.rows)
        progress = SweepProgress.of(
            designs_done=done, designs=self.designs, next_line=last + 1, outcomes=chunk.outcomes
        )
        skipped = max(0, from_line - self.first_line_of(chunk.number))
        return [*chunk.rows, _line(progress)][skipped:]

    def end(self) -> bytes:
        """The last line."""
        return _line(SweepEnd.of(designs=self.designs, lines=self.lines))


def _points(request: SweepRequest) -> Points:
    sampling, size = request.sampling, len(request.vary)
    if isinstance(sampling, SobolSampling):
        return SobolPoints(sampling.count, size, sampling.seed)
    if isinstance(sampling, HypercubeSampling):
        return LatinHypercubePoints(sampling.count, size, sampling.seed)
    if isinstance(sampling, ListSampling):
        return ListPoints(request.designs, size)
    return GridPoints([vary.size for vary in request.vary])


def _line(model: BaseModel) -> bytes:
    return model.model_dump_json().encode()


_alive: WeakValueDictionary[bytes, Plan] = WeakValueDictionary()


def remember(plan: Plan) -> None:
    """Let tasks of a plan that are solved in this process find it, as long as it is used."""
    _alive[plan.json] = plan


def plan_of(request: bytes) -> Plan:
    """The plan of a task's request."""
    return _alive.get(request) or _made(request)


@lru_cache(maxsize=4)
def _made(request: bytes) -> Plan:
    """Remembered, since a worker's chunks of a sweep come one after the other."""
    return Plan(SweepRequest.model_validate_json(request))
