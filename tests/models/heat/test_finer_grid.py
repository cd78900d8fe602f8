"""Designs whose discrete heat balance has no solution on the grid asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from shared.mouths import unresisting
from warmbranch import core
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat import newton, temperature
from warmbranch.heat.discretise import heat_balance
from warmbranch.steady import interplay
from warmbranch.steady import solve as branch

HARD = [472, 3143]
"""Of the sample below: hot metal, cold gas, the gas's gradient turning in the first cell."""

COARSE = 129
"""Graded nodes on which the first has no solution as they stand."""


@pytest.fixture(scope="module")
def hard(box_sample):
    return dry(unresisting(box_sample(8192, seed=7)).take(np.array(HARD)))


def dry(case):
    """Without what was added since they were found: gas that radiates, vapour that condenses."""
    count = len(case)
    closures = case.closures.changed(
        condensation=np.zeros(count, dtype=np.bool_), gas_radiation=np.zeros(count)
    )
    return case.changed(closures=closures)


@pytest.mark.parametrize("compiled", [True, False])
def test_they_are_answered_as_well_as_any(hard, compiled, monkeypatch):
    if not compiled:
        monkeypatch.setenv(core.OFF, "off")
    found = branch.solve(hard).resonance[:, 0]
    finer = branch.solve(hard, nodes=1281).resonance[:, 0]
    # The accuracy stated for DEFAULT_NODES; a grid eight times finer errs 64 times less.
    np.testing.assert_allclose(found, finer, rtol=1e-4)


@pytest.fixture
def impatient(monkeypatch):
    """Left to it, Newton's method wanders, and may meet a solution by chance."""
    for module in (newton, temperature):
        monkeypatch.setattr(module, "MOST_ITERATIONS", 25)


def graded(case):
    """Nodes that know nothing of the solution."""
    gas = MixtureTable.of(case.gas)
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    return heat_balance(case, gas, dry_air_table(), speed, nodes=COARSE).x


def test_the_first_needs_the_finer_grid(hard, impatient, monkeypatch):
    monkeypatch.setattr(temperature, "FINER_GRIDS", 0)
    monkeypatch.setattr(temperature, "EASING", (0.0,))
    first = hard.take(slice(0, 1))
    with pytest.raises(NotConvergedError) as raised:
        branch.solve(first, position=graded(first))
    assert raised.value.designs == (0,)


def test_neighbours_stay_as_they_are(hard, impatient, box_sample):
    plain = dry(unresisting(box_sample(8192, seed=7)).take(np.arange(110, 120)))
    mixed = type(hard).concatenate([plain, hard.take(slice(0, 1))])
    profile = branch.solve(mixed, position=graded(mixed)).profile
    alone = branch.solve(plain, position=graded(plain)).profile
    np.testing.assert_allclose(profile.gas[:10], alone.gas, rtol=1e-10)
    np.testing.assert_array_equal(profile.iterations[:10], alone.iterations)
    assert profile.gas.shape == profile.position.shape == (11, COARSE)
    assert profile.iterations[10] > temperature.MOST_ITERATIONS  # what was spent in vain counts
    # Heat is conserved on the finer grid, whose sums these are.
    assert profile.closure_error[10] < 1e-6


def test_a_failure_under_pulsation_names_the_design(make_case, monkeypatch):
    case = make_case().repeat(5)
    pressure = np.array([0.0, 0.0, 100.0, 0.0, 100.0])
    case = replace(case, main_pipe=replace(case.main_pipe, incident_pressure=pressure))
    solve = interplay.solve_steady

    def fails(balance, wall, guess=None, **more):
        at_rest = np.any(balance.case.main_pipe.incident_pressure == 0)
        if guess is None or at_rest:
            return solve(balance, wall, guess, **more)
        last = len(balance.case) - 1
        raise NotConvergedError("invented", designs=(last,), residual=1.0, iterations=1)

    monkeypatch.setattr(interplay, "solve_steady", fails)
    monkeypatch.setenv(core.OFF, "off")
    with pytest.raises(NotConvergedError) as raised:
        branch.solve(case)
    assert raised.value.designs == (4,)


@pytest.mark.parametrize("compiled", [True, False])
def test_some_only_take_their_time(box_sample, compiled, monkeypatch):
    """Steps that are shortened where they go to and fro: one design in a hundred thousand."""
    if not compiled:
        monkeypatch.setenv(core.OFF, "off")
    monkeypatch.setattr(temperature, "FINER_GRIDS", 0)
    slow = dry(unresisting(box_sample(16384, seed=6)).take(slice(2832, 2833)))
    profile = branch.solve(slow, modes=1, position=graded(slow)).profile
    assert profile.iterations[0] > newton.UNDAMPED_ITERATIONS
    assert profile.closure_error[0] < 1e-8
