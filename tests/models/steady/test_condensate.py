"""Water that condenses: the balance of vapour, and what it does to the answer."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import Composition, MixtureTable, dry_air_table
from warmbranch.gas.saturation import saturation_pressure
from warmbranch.heat.vapour import WATER_MOLAR_MASS, latent_heat
from warmbranch.sound.resonance import resonances
from warmbranch.steady.interplay import Mouth, balance_of, state_of
from warmbranch.steady.solve import solve


def on_numpy(answer):
    """What condenses at each node and what the mouth lets in, kg/s."""
    case, profile, gas = answer.case, answer.profile, MixtureTable.of(answer.case.gas)
    sound = answer.main_impedance, answer.duct, answer.tone
    balance = balance_of(case, gas, dry_air_table(), answer.main_speed, profile, *sound)
    found = balance.condensing(profile.gas, profile.wall, dried=profile.dried)
    return WATER_MOLAR_MASS * found.rate, WATER_MOLAR_MASS * found.entering


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"mouth_exchange": np.inf, "gas_temperature": 600.0},
        {"rise": -0.4, "gas_temperature": 700.0, "wrap_thickness": 0.01},
        {"incident_pressure": 1000.0, "air_temperature": 253.15},
    ],
)
def test_what_enters_is_what_condenses(make_case, changes):
    answer = solve(make_case(**changes))
    rate, (plain, entering) = answer.condensing, on_numpy(answer)
    assert_allclose(entering, rate.sum(axis=1), rtol=1e-9)
    assert_allclose(plain, rate, rtol=1e-9, atol=1e-12 * rate.sum())
    assert np.all(rate >= 0)
    assert rate.sum() > 0
    falls = np.diff(answer.vapour[0])
    assert np.all(falls <= 1e-12)
    wet = answer.profile.wall[0] < answer.dew_point[0]
    assert np.all(rate[0][~wet] == 0)
    # By its own heat at most what passes the mouth, and less: the rest is warmth.
    latent = np.sum(rate * latent_heat(answer.profile.wall))
    assert 0.005 < latent / answer.profile.heat_entering[0] < 0.6


def test_dry_gas_and_a_hot_tube_stay_dry(make_case):
    dry = solve(make_case(gas=Composition.dry_air()))
    assert np.all(dry.condensing == 0)
    hot = solve(make_case(air_temperature=350.0))
    assert np.all(hot.condensing == 0)
    assert_allclose(hot.vapour, hot.vapour[0, 0], rtol=1e-12)


def test_second_order_in_the_nodes(make_case):
    case = make_case(gas_temperature=600.0)
    total = np.array([solve(case, nodes=n).condensing.sum() for n in (129, 257, 513, 1025)])
    change = np.abs(np.diff(total))
    assert abs(total[0] / total[-1] - 1) < 2e-3
    # The edge of what is wet falls where it likes between nodes, which bends the order.
    assert change[0] > 2 * change[-1]


def test_designs_do_not_meddle(make_case):
    hot = np.array([423.15, 600.0, 800.0])
    together = solve(make_case(gas_temperature=hot)).condensing
    for i, one in enumerate(hot):
        alone = solve(make_case(gas_temperature=one)).condensing[0]
        assert_allclose(together[i], alone, rtol=1e-9, atol=1e-12 * alone.sum())


def test_more_excess_air_wets_less(make_case):
    lean, rich = (
        solve(make_case(gas=burnt_gas("petrol", air))).condensing.sum() for air in (2.0, 1.0)
    )
    assert lean < 0.7 * rich


def test_dry_gas_is_the_exact_limit(make_case):
    """Without vapour, or where it may not condense, the same answer to rounding: nothing is left
    over from the third unknown."""
    air = solve(make_case(gas=Composition.dry_air()))
    off = solve(make_case(gas=Composition.dry_air(), condensation=False))
    assert_allclose(air.resonance, off.resonance, rtol=1e-15)
    assert_allclose(air.profile.wall, off.profile.wall, rtol=1e-15)
    warm = make_case(air_temperature=350.0)  # no wall is below the dew point
    assert_allclose(
        solve(warm).resonance,
        solve(make_case(air_temperature=350.0, condensation=False)).resonance,
        rtol=1e-12,
    )


def test_latent_heat_raises_and_drying_lowers_the_tone(make_case):
    """By some 0.2 to 0.5 % up and 0.5 to 1 % down, as an independent estimate foretold."""
    wet, off = solve(make_case()), solve(make_case(condensation=False))
    assert (wet.profile.wall - off.profile.wall).max() > 1.0
    undried = wet.profile.changed(dried=np.zeros_like(wet.profile.gas))
    warmed = resonance_with(wet, undried) / off.resonance[0, 0] - 1
    dried = wet.resonance[0, 0] / resonance_with(wet, undried) - 1
    assert 0.002 < warmed < 0.005
    assert -0.010 < dried < -0.005


def resonance_with(answer, profile):
    """First resonance that an answer's branch would have with another profile."""
    case = answer.case
    gas = MixtureTable.of(case.gas)
    mouth = Mouth.of(case, gas, answer.main_speed, profile.wall[:, 0])
    return resonances(state_of(case, gas, mouth, profile).duct, 1)[0][0, 0]


def test_both_balances_close(make_case):
    """Heat and vapour, to 1e-8 of what passes."""
    for changes in ({}, {"gas_temperature": 700.0, "rise": -0.3, "air_temperature": 263.15}):
        answer = solve(make_case(**changes))
        assert answer.profile.closure_error[0] < 1e-8
        assert on_numpy(answer)[1][0] == pytest.approx(answer.condensing.sum(), rel=1e-8)


def test_a_supersaturated_main_pipe_gives_no_more_than_it_holds(make_case):
    """A main pipe colder than its dew point has lost the rest before the mouth."""
    answer = solve(make_case(gas_temperature=310.0, air_temperature=280.0))
    at_most = saturation_pressure(310.0)[0] / 101325.0
    assert answer.vapour[0].max() <= at_most * (1 + 1e-9)
    assert answer.profile.wall.max() <= 310.0
