"""Solving one chunk of a sweep: values in, lines out.

A design that is not admitted, or that the solver gives up, is a row with that outcome; the others
of its chunk are not touched by it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from pydantic import ValidationError
from pydantic_core import to_json

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.prediction import expect_each, predict
from warmbranch.case import case as physics
from warmbranch.steady.solve import solve
from warmbranch_service.case import calibrations
from warmbranch_service.case.belief import spreads_by
from warmbranch_service.case.convert import engine_order, refused_flows
from warmbranch_service.case.convert_batch import to_batch
from warmbranch_service.case.main_gas import Inferred, with_inferred_gas
from warmbranch_service.case.schema import Case
from warmbranch_service.contract.errors import Entry, Problem
from warmbranch_service.contract.refusals import entries_of, entry_of_physics
from warmbranch_service.steady.outputs import OUTPUTS, Solved, Values, losses, needs_interval
from warmbranch_service.steady.schema import SteadyRequest
from warmbranch_service.sweep.answer_schema import DesignOutcome
from warmbranch_service.sweep.patch import Patch
from warmbranch_service.sweep.plan import Chunk, Inputs, Plan, Task, plan_of
from warmbranch_service.sweep.request import SweepRequest


class _Ended(NamedTuple):
    """What became of one design."""

    outcome: DesignOutcome
    values: tuple[float | None, ...] | None
    errors: list[Entry]


def solve_task(task: Task) -> Chunk:
    """Solve one chunk."""
    return solve_chunk(plan_of(task.request), task)


def solve_chunk(plan: Plan, task: Task) -> Chunk:
    """Solve one chunk of a plan."""
    columns = plan.inputs(task.points)
    rows: list[Inputs] = [list(row) for row in zip(*columns, strict=True)]
    ended = _ended(plan, rows)
    names = [field.name for field in plan.fields]
    outputs = [*plan.request.asked, *plan.loss_names]
    lines = tuple(
        _line(task.start + i, dict(zip(names, row, strict=True)), outputs, one)
        for i, (row, one) in enumerate(zip(rows, ended, strict=True))
    )
    counted = Counter(one.outcome for one in ended)
    return Chunk(task.number, task.start, lines, dict(sorted(counted.items())))


def _line(index: int, inputs: dict[str, Any], outputs: Sequence[str], ended: _Ended) -> bytes:
    values = None if ended.values is None else dict(zip(outputs, ended.values, strict=True))
    return to_json(
        {
            "index": index,
            "inputs": inputs,
            "outcome": ended.outcome,
            "outputs": values,
            "errors": [entry.as_json() for entry in ended.errors],
        }
    )


class _Design(NamedTuple):
    """One design: its case with its gas temperature, and what was inferred for that."""

    case: Case
    inferred: Inferred | None


def _ended(plan: Plan, rows: Sequence[Inputs]) -> list[_Ended]:
    found: dict[int, _Ended] = {}
    cases: dict[int, _Design] = {}
    patch = Patch(plan.request.case, plan.fields)
    for i, row in enumerate(rows):
        try:
            given = Case.model_validate(patch.with_values(row))
            cases[i] = _Design(*with_inferred_gas(given))
        except ValidationError as error:
            found[i] = _Ended("not admitted", None, _entries(error, patch, row))
        except Problem as problem:  # no gas explains the main pipe's skin
            found[i] = _Ended("not admitted", None, list(problem.parts.entries))
    learned = plan.request.case.closures.calibration
    calibration = None if learned is None else calibrations.to_physics(learned)
    members = [*cases]
    for own, ended in _solved(plan.request, [*cases.values()], calibration):
        found.update(zip((members[i] for i in own), ended, strict=True))
    return [found[i] for i in range(len(rows))]


def _entries(error: ValidationError, patch: Patch, row: Inputs) -> list[Entry]:
    errors = [{**entry, "loc": ("case", *entry["loc"])} for entry in error.errors()]
    return entries_of(errors, {"case": patch.with_values(row)}, SteadyRequest)


def _solved(
    asked: SweepRequest, designs: Sequence[_Design], calibration: Calibration | None
) -> Iterator[tuple[Sequence[int], list[_Ended]]]:
    """Designs and what became of them; where the batch fails, by halves down to who fails it."""
    if not designs:
        return
    try:
        yield from _solved_together(asked, designs, calibration)
    except (InputError, NotConvergedError) as error:
        if len(designs) > 1:
            half = len(designs) // 2
            for first, part in ((0, designs[:half]), (half, designs[half:])):
                for own, ended in _solved(asked, part, calibration):
                    yield [first + i for i in own], ended
        elif isinstance(error, InputError):
            yield [0], [_Ended("not admitted", None, [entry_of_physics(error)])]
        else:
            yield [0], [_Ended("not solved", None, [])]


def _solved_together(
    asked: SweepRequest, designs: Sequence[_Design], calibration: Calibration | None
) -> list[tuple[Sequence[int], list[_Ended]]]:
    cases = [design.case for design in designs]
    batch = to_batch(cases)
    refused = refused_flows(cases, batch)
    out = [i for i, entry in enumerate(refused) if entry is not None]
    keep = [i for i, entry in enumerate(refused) if entry is None]
    found: list[tuple[Sequence[int], list[_Ended]]] = [
        (out, [_Ended("not admitted", None, [entry]) for entry in refused if entry is not None])
    ]
    if keep:
        own = batch if not out else batch.take(np.array(keep))
        found.append((keep, _answered(asked, [designs[i] for i in keep], own, calibration)))
    return found


def _learned(batch: physics.Case, calibration: Calibration | None) -> physics.Case:
    """The batch with the means of a calibration."""
    if calibration is None:
        return batch
    # One by one: which of the unknowns have an effect depends on the design.
    alone = [calibration.applied_to(batch.take(np.array([i]))) for i in range(len(batch))]
    return physics.Case.concatenate(alone)


def _answered(
    asked: SweepRequest,
    designs: Sequence[_Design],
    given: physics.Case,
    calibration: Calibration | None,
) -> list[_Ended]:
    answer = solve(_learned(given, calibration))
    orders = [
        None if design.case.engine is None else engine_order(design.case.engine)
        for design in designs
    ]
    levels = _levels(designs, given, calibration) if needs_interval(asked.asked) else ()
    solved = Solved(answer, orders, levels)
    columns: list[Values] = [OUTPUTS[name].of(solved) for name in asked.asked]
    columns += losses(solved, asked.transmission_loss_at_rpm, asked.transmission_loss_at_Hz)
    has_resonance = np.isfinite(answer.resonance[:, 0]).tolist()
    return [
        _Ended("resonance found" if resonates else "no resonance", values, [])
        for resonates, values in zip(has_resonance, zip(*columns, strict=True), strict=True)
    ]


def _levels(
    designs: Sequence[_Design], given: physics.Case, calibration: Calibration | None
) -> list[FloatArray]:
    """First resonance of each design at the levels of a prediction, as the steady answer has it."""
    if calibration is not None:
        alone = (given.take(np.array([i])) for i in range(len(given)))
        return [predict(one, calibration).resonance for one in alone]
    priors = [
        Calibration.prior(given.take(np.array([i])), spreads_by(design.case, design.inferred))
        for i, design in enumerate(designs)
    ]
    return [expected.resonance for expected in expect_each(given, priors)]
