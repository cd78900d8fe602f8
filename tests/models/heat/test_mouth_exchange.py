"""Heat through the mouth's shear layer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch import core
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.mouth_exchange import mouth_resistance
from warmbranch.steady.solve import solve


def resistance(case, speed=None):
    gas = MixtureTable.of(case.gas)
    own = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    return mouth_resistance(case, gas, own if speed is None else speed)


def test_heat_through_the_mouth_is_the_fall_over_the_resistance(box_sample):
    """Exact: what enters by gas is what the resistance lets pass."""
    case = box_sample(64, seed=5)
    still = np.zeros(64, dtype=np.bool_)  # vapour has a resistance of its own
    dry = {"mouth_exchange": np.geomspace(1e-3, 1.0, 64), "condensation": still}
    case = replace(case, closures=case.closures.changed(**dry))
    answer = solve(case)
    closures = replace(case.closures, mouth_exchange=np.full(64, np.inf))
    inside = replace(case.main_pipe, gas_temperature=answer.profile.gas[:, 0])
    # The same branch on a pipe whose gas has the temperature just inside the mouth, and stirs
    # as the real one does.
    gas = MixtureTable.of(case.gas)
    flow = (
        bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
        * gas.density(answer.profile.gas[:, :1], case.surroundings.pressure)[:, 0]
        * case.main_pipe.bore_area
    )
    wall = answer.profile.wall[:, 0]
    pipe = replace(inside, mass_flow=flow, skin_temperature=wall, incident_pressure=0 * flow)
    quiet = replace(case.main_pipe, incident_pressure=0 * flow, skin_temperature=wall)
    own = solve(replace(case, main_pipe=quiet), position=answer.profile.position)
    pipe = replace(pipe, gas_temperature=own.profile.gas[:, 0])
    flow = flow * answer.profile.gas[:, 0] / own.profile.gas[:, 0]
    pipe = replace(pipe, mass_flow=flow)
    other = solve(
        replace(case, main_pipe=pipe, closures=closures), position=answer.profile.position
    )
    assert_allclose(other.profile.gas, own.profile.gas, rtol=0, atol=1e-6)
    assert_allclose(other.profile.wall, own.profile.wall, rtol=0, atol=1e-6)
    assert np.all(own.profile.closure_error < 1e-8)


def test_without_resistance_the_gas_inside_is_the_main_gas(make_case):
    case = make_case(mouth_exchange=np.inf)
    assert_array_equal(resistance(case), 0.0)
    assert solve(case).profile.gas[0, 0] == case.main_pipe.gas_temperature[0]


def test_ever_stronger_exchange_tends_to_no_resistance(make_case):
    """The departure falls as one over the exchange."""
    free = solve(make_case(mouth_exchange=np.inf)).resonance[0, 0]
    strong = [solve(make_case(mouth_exchange=k)).resonance[0, 0] for k in (1e3, 1e4)]
    first, second = (free - f for f in strong)
    assert 9 < first / second < 11


def test_at_rest_the_mouth_conducts_like_a_disc(make_case):
    """Exact: 2 k d, the shape factor of a disc on a half-space."""
    case = make_case(mass_flow=0.0, mouth_exchange=0.05, cap_pressure=0.0)
    gas = MixtureTable.of(case.gas)
    conductivity = gas.evaluate(case.main_pipe.gas_temperature[:, None]).conductivity[0, 0]
    found = 1 / resistance(case)
    assert found == pytest.approx(2 * conductivity * case.branch.bore[0], rel=1e-12)


def volumetric_heat(case):
    gas = MixtureTable.of(case.gas)
    hot = case.main_pipe.gas_temperature[:, None]
    state = gas.evaluate(hot)
    return (gas.density(hot, case.surroundings.pressure) * state.heat_capacity)[0, 0]


def test_exchange_by_flow_by_hand(make_case):
    """k_m U ρ c_p A at 20 m/s, without what a tone adds."""
    case = make_case(mouth_exchange=0.05, tone_exchange=0.0)
    speed = np.array([20.0])
    by_flow = 1 / resistance(case, speed) - 1 / resistance(case, 0 * speed)
    expected = 0.05 * 20.0 * volumetric_heat(case) * case.branch.bore_area
    assert_allclose(by_flow, expected, rtol=1e-12)


def test_exchange_by_a_tone_by_hand(make_case):
    """k_u p/(ρ c) ρ c_p A: the gas of a quarter wave moves at p/(ρ c) at its mouth."""
    loud, silent = (make_case(cap_pressure=p, tone_exchange=0.36) for p in (1000.0, 0.0))
    still = np.zeros(1)
    by_tone = 1 / resistance(loud, still) - 1 / resistance(silent, still)
    gas = MixtureTable.of(loud.gas)
    hot = loud.main_pipe.gas_temperature[:, None]
    impedance = gas.density(hot, loud.surroundings.pressure) * gas.sound_speed(hot)
    velocity = 1000.0 / impedance[0, 0]
    expected = 0.36 * velocity * volumetric_heat(loud) * loud.branch.bore_area
    assert_allclose(by_tone, expected, rtol=1e-12)


def test_a_branch_that_sings_by_itself_exchanges_more(make_case):
    """With no tone, 0.04 of the main speed stands for it; both join by squares."""
    case = make_case(cap_pressure=0.0)
    speed = np.array([20.0])
    plain = replace(case, closures=case.closures.changed(tone_exchange=np.zeros(1)))
    added = 1 / resistance(case, speed) - 1 / resistance(plain, speed)
    expected = 0.36 * 0.04 * 20.0 * volumetric_heat(case) * case.branch.bore_area
    assert_allclose(added, expected, rtol=1e-12)


@pytest.mark.parametrize("kernel", ["on", "off"])
def test_a_given_tone_stands_for_the_cap_pressure(make_case, kernel, monkeypatch):
    """Where the incident pressure tells, what is assumed of the cap makes no difference."""
    monkeypatch.setenv(core.OFF, "off" if kernel == "off" else "")
    first, second = (
        solve(make_case(incident_pressure=500.0, cap_pressure=p)).resonance for p in (0.0, 5e3)
    )
    assert_allclose(first, second, rtol=1e-6)  # the sketch, and so the nodes, differ a little


def test_a_louder_tone_warms_the_gas_inside(make_case):
    inside = [
        solve(make_case(incident_pressure=p)).profile.gas[0, 0] for p in (1.0, 30.0, 100.0, 300.0)
    ]
    assert np.all(np.diff(inside) > 0)
    assert inside[-1] < make_case().main_pipe.gas_temperature[0]


def test_both_paths_agree(box_sample, monkeypatch):
    case = box_sample(48, seed=11)
    compiled = solve(case)
    monkeypatch.setenv(core.OFF, "off")
    plain = solve(case)
    assert_allclose(compiled.profile.gas, plain.profile.gas, rtol=0, atol=1e-6)
    assert_allclose(compiled.resonance, plain.resonance, rtol=1e-9)
