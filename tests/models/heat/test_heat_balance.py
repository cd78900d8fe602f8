"""The linearisation of the heat balance against differences of its own residuals."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.discretise import heat_balance

NODES = 33
NAN = np.nan


def variants(make_case):
    """Batches of each kind, as the code treats batches that are all of a kind apart."""
    rise = np.array([-np.pi / 2, -0.6, 0.0, 0.6, np.pi / 2])
    dry = partial(make_case, condensation=False)  # vapour's slopes: test_vapour.py
    return {
        "bare": dry(rise=rise),
        "wrapped": dry(rise=rise, wrap_thickness=0.02),
        "some wrapped": dry(rise=rise, wrap_thickness=np.array([0, 0.001, 0, 0.02, 0.05])),
        "wide, still air": dry(rise=rise, outside_diameter=0.12, air_speed=0.0),
        "no buoyancy": dry(rise=rise, buoyancy=0.0, air_temperature=253.15),
        "radiant heat": dry(
            rise=rise, radiant_temperature=550.0, emissivity=1.0, gas_temperature=1000.0
        ),
        "all closures fixed": dry(
            fixed_diffusivity=0.02, fixed_inner_film=12.0, fixed_outer_film=9.0, emissivity=0.0
        ),
        "some closures fixed": dry(
            rise=rise,
            fixed_diffusivity=np.array([NAN, 0.0, 0.05, NAN, NAN]),
            fixed_inner_film=np.array([NAN, 5.0, NAN, 40.0, NAN]),
            fixed_outer_film=np.array([7.0, NAN, NAN, 30.0, NAN]),
            wrap_thickness=np.array([0.0, 0.01, 0.0, 0.0, 0.03]),
        ),
    }


KINDS = [
    "bare",
    "wrapped",
    "some wrapped",
    "wide, still air",
    "no buoyancy",
    "radiant heat",
    "all closures fixed",
    "some closures fixed",
]


@pytest.fixture(params=KINDS)
def balance(request, make_case):
    case = variants(make_case)[request.param]
    return heat_balance(
        case, MixtureTable.of(case.gas), dry_air_table(), np.full(len(case), 9.0), nodes=NODES
    )


def rough_temperatures(balance, seed):
    """Steps of 3 to 8 K up and down from node to node: gradients of both signs, none near zero,
    where the steep counterflow sets in with a kink."""
    random = np.random.default_rng(seed)
    shape = balance.x.shape
    hot = balance.case.main_pipe.gas_temperature[:, None]
    air = balance.case.surroundings.air_temperature[:, None]

    def rough(share):
        steps = random.choice([-1.0, 1.0], shape) * random.uniform(3, 8, shape)
        return air + (hot - air) * share + np.cumsum(steps, axis=1)

    return rough(0.9), rough(0.7), rough(0.5)


STEP = 0.02
"""K. Richardson's extrapolation of central differences leaves (step/T)⁴, nothing, and rounding of
residuals of some 10 W, 1e-15 × 10 / 0.02 = 1e-12 W/K."""


def differences(function, values, chosen):
    """Slopes of all outputs with respect to every third node, by Richardson's extrapolation."""
    push = np.zeros_like(values)
    push[:, chosen] = 1.0

    def central(step):
        above, below = function(values + step * push), function(values - step * push)
        return [(a - b) / (2 * step) for a, b in zip(above, below, strict=True)]

    fine, coarse = central(STEP / 2), central(STEP)
    return [(4 * f - c) / 3 for f, c in zip(fine, coarse, strict=True)]


def compare(analytic, numeric, rtol=1e-7):
    # Entry by entry 1e-7 (spline pieces join with a jump in the third derivative, which the
    # extrapolation does not remove), plus rounding relative to the largest entry.
    floor = 1e-11 * np.max(np.abs(analytic)) + 1e-13
    assert_allclose(analytic, numeric, rtol=rtol, atol=floor)


@pytest.mark.parametrize("first", [0, 1, 2])
def test_slopes_with_gas_temperature(balance, first):
    gas, wall, skin = rough_temperatures(balance, 1)
    system = balance.linearise(gas, wall, skin)
    chosen = np.arange(first, NODES, 3)

    def residuals(trial):
        found = balance.linearise(trial, wall, skin)
        return found.gas, found.wall, found.skin_loss

    by_gas, by_wall, by_loss = differences(residuals, gas, chosen)
    compare(system.gas_here[:, chosen], by_gas[:, chosen])
    compare(system.wall_gas_here[:, chosen], by_wall[:, chosen])
    left, right = chosen[chosen > 0], chosen[chosen < NODES - 1]
    # A node's right slope is what its right neighbour does to it.
    compare(system.gas_right[:, left - 1], by_gas[:, left - 1])
    compare(system.wall_gas_right[:, left - 1], by_wall[:, left - 1])
    compare(system.gas_left[:, right + 1], by_gas[:, right + 1])
    compare(system.wall_gas_left[:, right + 1], by_wall[:, right + 1])
    assert np.all(by_loss == 0)


@pytest.mark.parametrize("first", [0, 1, 2])
def test_slopes_with_wall_temperature(balance, first):
    gas, wall, skin = rough_temperatures(balance, 2)
    system = balance.linearise(gas, wall, skin)
    chosen = np.arange(first, NODES, 3)

    def residuals(trial):
        found = balance.linearise(gas, trial, skin)
        return found.gas, found.wall, found.wall_over_skin

    by_gas, by_wall, over_skin = differences(residuals, wall, chosen)
    compare(system.gas_wall[:, chosen], by_gas[:, chosen])
    compare(system.wall_here[:, chosen], by_wall[:, chosen])
    left, right = chosen[chosen > 0], chosen[chosen < NODES - 1]
    compare(system.wall_right[:, left - 1], by_wall[:, left - 1])
    compare(system.wall_left[:, right + 1], by_wall[:, right + 1])
    compare(np.ones_like(over_skin[:, chosen]), over_skin[:, chosen])
    # The gas of other nodes does not feel this wall.
    others = np.setdiff1d(np.arange(NODES), chosen)
    assert np.all(by_gas[:, others] == 0)


def test_slope_of_the_loss(balance):
    gas, wall, skin = rough_temperatures(balance, 3)
    system = balance.linearise(gas, wall, skin)
    (loss,) = differences(
        lambda trial: [balance.linearise(gas, wall, trial).skin_loss], skin, np.arange(NODES)
    )
    compare(system.skin_slope, loss)


def test_what_leaves_one_node_enters_the_next(balance):
    """Whatever the temperatures: the sum of all residuals is no more than exchange and loss."""
    gas, wall, skin = rough_temperatures(balance, 4)
    system = balance.linearise(gas, wall, skin)
    total = (system.gas + system.wall).sum(axis=1)
    scale = np.abs(system.gas).sum(axis=1)
    # Fluxes telescope, exchange cancels between gas and wall; rounding of the sums is left.
    assert_allclose(total / scale, 0, atol=1e-13)


def test_areas_by_hand(make_case):
    """Skin of tube and cap; wrap's resistance ln(r2/r1)/2πk along the tube, t/k on the cap."""
    case = make_case(length=0.5, outside_diameter=0.05, wrap_thickness=0.01, wrap_conductivity=0.06)
    balance = heat_balance(case, MixtureTable.of(case.gas), dry_air_table(), np.ones(1))
    assert_allclose(balance.skin_area.sum(), np.pi * (0.07 * 0.5 + 0.07**2 / 4), rtol=1e-12)
    along = 2 * np.pi * 0.06 * 0.5 / np.log(0.07 / 0.05)
    cap = np.pi / 4 * 0.05**2 * 0.06 / 0.01
    assert_allclose(balance.wrap_conductance.sum(), along + cap, rtol=1e-12)
    assert_allclose(balance.bore_surface.sum(), np.pi * 0.047 * 0.5, rtol=1e-12)
