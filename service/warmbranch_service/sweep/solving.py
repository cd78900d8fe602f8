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
from warmbranch.belief.shop import Shop
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
from warmbranch_service.steady.request import SteadyRequest
from warmbranch_service.sweep.answer_schema import DesignOutcome
from warmbranch_service.sweep.patch import Patch
from warmbranch_service.sweep.plan import Chunk, Inputs, Plan, Task, plan_of
from warmbranch_service.sweep.request import SweepRequest

Taught = Calibration | Shop
"""What a fit, or a shop's jobs, taught."""


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
    taught = None
    if learned is not None:
        taught = calibrations.shop_of(learned) or calibrations.to_physics(learned)
    members = [*cases]
    for own, ended in _solved(plan.request, [*cases.values()], taught):
        found.update(zip((members[i] for i in own), ended, strict=True))
    return [found[i] for i in range(len(rows))]


def _entries(error: ValidationError, patch: Patch, row: Inputs) -> list[Entry]:
    errors = [{**entry, "loc": ("case", *entry["loc"])} for entry in error.errors()]
    return entries_of(errors, {"case": patch.with_values(row)}, SteadyRequest)


def _solved(
    asked: SweepRequest, designs: Sequence[_Design], taught: Taught | None
) -> Iterator[tuple[Sequence[int], list[_Ended]]]:
    """Designs and what became of them; where the batch fails, by halves down to who fails it."""
    if not designs:
        return
    try:
        yield from _solved_together(asked, designs, taught)
    except (InputError, NotConvergedError) as error:
        if len(designs) > 1:
            half = len(designs) // 2
            for first, part in ((0, designs[:half]), (half, designs[half:])):
                for own, ended in _solved(asked, part, taught):
                    yield [first + i for i in own], ended
        elif isinstance(error, InputError):
            yield [0], [_Ended("not admitted", None, [entry_of_physics(error)])]
        else:
            yield [0], [_Ended("not solved", None, [])]


def _solved_together(
    asked: SweepRequest, designs: Sequence[_Design], taught: Taught | None
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
        found.append((keep, _answered(asked, [designs[i] for i in keep], own, taught)))
    return found


def _believed(
    designs: Sequence[_Design], given: physics.Case, taught: Taught | None
) -> list[Calibration]:
    """What is believed of each design: by a fit, by a shop, or before any job."""
    if isinstance(taught, Calibration):
        return [taught] * len(designs)
    each = (
        (given.take(np.array([i])), spreads_by(design.case, design.inferred))
        for i, design in enumerate(designs)
    )
    if taught is not None:
        return [taught.of(*one) for one in each]
    return [Calibration.prior(*one) for one in each]


def _answered(
    asked: SweepRequest,
    designs: Sequence[_Design],
    given: physics.Case,
    taught: Taught | None,
) -> list[_Ended]:
    wide = needs_interval(asked.asked)
    believed = _believed(designs, given, taught) if wide or taught is not None else []
    case = given
    if taught is not None:
        # One by one: which of the unknowns have an effect depends on the design.
        case = physics.Case.concatenate(
            [one.applied_to(given.take(np.array([i]))) for i, one in enumerate(believed)]
        )
    answer = solve(case)
    orders = [
        None if design.case.engine is None else engine_order(design.case.engine)
        for design in designs
    ]
    levels: Sequence[FloatArray] = ()
    if wide and isinstance(taught, Calibration):
        alone = (given.take(np.array([i])) for i in range(len(given)))
        levels = [predict(one, taught).resonance for one in alone]
    elif wide:
        levels = [expected.resonance for expected in expect_each(given, believed)]
    solved = Solved(answer, orders, levels)
    columns: list[Values] = [OUTPUTS[name].of(solved) for name in asked.asked]
    columns += losses(solved, asked.transmission_loss_at_rpm, asked.transmission_loss_at_Hz)
    has_resonance = np.isfinite(answer.resonance[:, 0]).tolist()
    return [
        _Ended("resonance found" if resonates else "no resonance", values, [])
        for resonates, values in zip(has_resonance, zip(*columns, strict=True), strict=True)
    ]
