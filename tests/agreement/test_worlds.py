"""The invented worlds of the benchmarks: what they add to the model's balance, and that all are."""

from __future__ import annotations

import more_worlds
import numpy as np
import pytest
import synthetic
import worlds
from amended import Amended, settled

from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.discretise import heat_balance
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.temperature import solve_steady

NODES = 257
"""So fine that a mean of heat capacities stands for their integral."""

CONTROL = "its own (control)"
MORE = [name for name, own in worlds.WORLDS.items() if own.__module__ == more_worlds.__name__]


@pytest.fixture(scope="module")
def balance():
    case = synthetic.a_case(np.random.default_rng(4))
    dry = np.zeros(1, dtype=np.bool_)  # what passes through leaves its vapour out
    case = case.changed(closures=case.closures.changed(condensation=dry))
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    return heat_balance(case, gas, air, speed, nodes=NODES), wall


def _amended(balance, through=0.0):
    none = np.zeros_like(balance.x)
    flow = through * balance.case.main_pipe.mass_flow
    return Amended.of(balance, film=none + 1, blacker=none, gain=none, through=flow)


def test_amended_by_nothing_is_the_model(balance):
    own, wall = balance
    plain, same = solve_steady(own, wall), settled(_amended(own), wall, 0.0)
    assert same.gas == pytest.approx(plain.gas, abs=1e-5)  # K, of two searches ended at 1e-6
    assert same.skin == pytest.approx(plain.skin, abs=1e-5)


def test_what_passes_through_brings_its_heat(balance):
    own, wall = balance
    leak = _amended(own, 1e-3)
    found = settled(leak, wall, 0.0)
    system = leak.linearise(found.gas, found.wall, found.skin)
    lost = np.sum(system.skin_loss)
    by_mouth = (own.main_gas - found.gas[:, 0]) / own.mouth_resistance
    by_wall = system.wall[:, 0] + system.skin_loss[:, 0]
    temperatures = np.concatenate([own.main_gas[:, None], found.gas], axis=1)
    heat_capacity = own.gas.evaluate(temperatures).heat_capacity[0]
    brought = leak.through * np.trapezoid(heat_capacity[::-1], temperatures[0, ::-1])
    assert brought > 0.05 * lost  # else the next line would say little
    # Upwind steps take the heat capacity of their end: some 1e-3 of what is brought.
    assert by_mouth + by_wall + brought == pytest.approx(lost, rel=1e-3)


@pytest.mark.parametrize("name", MORE)
def test_a_world_can_be_read_and_heard(name):
    own = worlds.drawn(name, np.random.default_rng(7))
    readings, heard = own.read(5), own.hear()
    assert np.all(np.isfinite(readings.displayed))
    assert heard.frequency == pytest.approx([own.tone()], rel=0.1)  # an ear 2 % off, five times


@pytest.mark.parametrize("name", MORE)
def test_a_world_is_not_the_models_own(name):
    both = [worlds.drawn(one, np.random.default_rng(7)) for one in (name, CONTROL)]
    seen = [(one.read(5).displayed, *(one.hear().frequency for _ in range(3))) for one in both]
    assert any(np.any(here != there) for here, there in zip(*seen, strict=True))
