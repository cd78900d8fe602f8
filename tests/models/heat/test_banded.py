"""The stacked banded solve against a dense one that knows nothing of the elimination."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.banded import newton_step, outside_loss
from warmbranch.heat.discretise import heat_balance
from warmbranch.heat.linearised import Linearised

NODES = 21


def linearised(case, seed):
    balance = heat_balance(
        case, MixtureTable.of(case.gas), dry_air_table(), np.full(len(case), 9.0), nodes=NODES
    )
    random = np.random.default_rng(seed)
    temperatures = random.uniform(300, 420, (3, len(case), NODES))
    free = balance.mouth_resistance == 0  # there the gas inside is the main pipe's
    temperatures[0, free, 0] = balance.main_gas[free]
    return balance.linearise(*temperatures)


def dense_step(system, i):
    """Newton step of design ``i`` for gas, wall, skin and vapour, all four kept as unknowns."""
    n, wet = NODES, system.vapour
    matrix, right = np.zeros((4 * n, 4 * n)), np.zeros(4 * n)
    gas, wall, skin, content = np.arange(4 * n).reshape(4, n)
    matrix[wall[0], wall[0]] = 1.0  # given at the mouth
    # resistance × (what the first node passes on and gives to the wall) = fall through the mouth
    resistance = system.mouth_resistance[i]
    matrix[gas[0], gas[0]] = 1.0 + resistance * system.gas_here[i, 0]
    matrix[gas[0], gas[1]] = resistance * system.gas_right[i, 0]
    right[gas[0]] = system.mouth_fall[i] - resistance * system.gas[i, 0]
    for k in range(1, n):
        matrix[gas[k], [gas[k - 1], gas[k], wall[k]]] = (
            system.gas_left[i, k], system.gas_here[i, k], system.gas_wall[i, k],
        )  # fmt: skip
        matrix[wall[k], [wall[k - 1], wall[k], gas[k - 1], gas[k]]] = (
            system.wall_left[i, k], system.wall_here[i, k],
            system.wall_gas_left[i, k], system.wall_gas_here[i, k],
        )  # fmt: skip
        if k < n - 1:
            matrix[gas[k], gas[k + 1]] = system.gas_right[i, k]
            matrix[wall[k], wall[k + 1]] = system.wall_right[i, k]
            matrix[wall[k], gas[k + 1]] = system.wall_gas_right[i, k]
        right[gas[k]], right[wall[k]] = -system.gas[i, k], -system.wall[i, k]
    for k in range(n):
        sides = [k - 1] * (k > 0), [k], [k + 1] * (k < n - 1)
        names = ("left", "here", "right")
        for side, name in zip(sides, names, strict=True):
            matrix[content[k], content[side]] = getattr(wet, name)[i, k]
            matrix[content[k], gas[side]] = getattr(wet, f"gas_{name}")[i, k]
        matrix[content[k], wall[k]] = wet.wall[i, k]
        if k > 0:
            matrix[wall[k], content[k]] = -wet.by_content[i, k]
        wrap, loss = system.wrap_conductance[i, k], system.skin_loss[i, k]
        slope = system.skin_slope[i, k]
        if np.isinf(wrap):  # bare: the skin is the wall
            matrix[skin[k], [skin[k], wall[k]]] = 1, -1
            outside, by_skin, by_wall = loss, slope, 0.0
        else:
            through = wrap * system.wall_over_skin[i, k]
            matrix[skin[k], [skin[k], wall[k]]] = slope + wrap, -wrap
            right[skin[k]] = -(loss - through)
            outside, by_skin, by_wall = through, -wrap, wrap
        if k > 0:
            matrix[wall[k], skin[k]] += by_skin
            matrix[wall[k], wall[k]] += by_wall
            right[wall[k]] -= outside
    solution = np.linalg.solve(matrix, right)
    return solution[gas], solution[wall], solution[skin], solution[content]


@pytest.mark.parametrize("wrap", [[0.0, 0.0, 0.0], [0.01, 0.02, 0.05], [0.0, 0.02, 0.0]])
@pytest.mark.parametrize("rise", [-0.5, 0.0, 0.5])
@pytest.mark.parametrize("exchange", [np.inf, 0.04])
def test_equals_dense_solution(make_case, wrap, rise, exchange):
    case = make_case(wrap_thickness=np.array(wrap), rise=rise, mouth_exchange=exchange)
    system = linearised(case, 1)
    step = newton_step(system)
    for i in range(3):
        for ours, dense in zip(step, dense_step(system, i), strict=True):
            # Rounding, times the condition of the dense matrix, below 1e6.
            assert_allclose(ours[i], dense, rtol=1e-9, atol=1e-9 * np.abs(dense).max())


@pytest.mark.parametrize("exchange", [np.inf, 0.04])
def test_mouth_stays(make_case, exchange):
    gas, wall, *_ = newton_step(linearised(make_case(mouth_exchange=exchange), 2))
    assert bool(np.all(gas[:, 0] == 0)) is bool(np.isinf(exchange))
    assert_array_equal(wall[:, 0], 0)


def test_designs_do_not_see_each_other(make_case):
    case = make_case(wrap_thickness=np.array([0.0, 0.02, 0.0, 0.001]))
    system = linearised(case, 3)
    together = newton_step(system)
    for i in range(4):
        alone = newton_step(system.take(np.arange(4) == i))
        for one, all_ in zip(alone, together, strict=True):
            assert_array_equal(one[0], all_[i])


def test_loss_without_wrap_is_the_skins_own(make_case):
    system = linearised(make_case(), 4)
    loss, slope = outside_loss(system)
    assert_array_equal(loss, system.skin_loss)
    assert_array_equal(slope, system.skin_slope)


def test_loss_through_a_wrap_is_the_resistances_in_series(make_case):
    """Slope of the loss with the wall: 1/(1/wrap + 1/skin)."""
    system = linearised(make_case(wrap_thickness=0.02), 5)
    _, slope = outside_loss(system)
    series = 1 / (1 / system.wrap_conductance + 1 / system.skin_slope)
    assert_allclose(slope, series, rtol=1e-13)


def test_singular_system_is_refused():
    nothing = Linearised(*(np.zeros((1, 5)) for _ in Linearised._fields))
    still = np.zeros(1)
    nothing = nothing._replace(mouth_resistance=still, mouth_fall=still, bare=True, vapour=None)
    with pytest.raises(np.linalg.LinAlgError, match="singular"):
        newton_step(nothing)
