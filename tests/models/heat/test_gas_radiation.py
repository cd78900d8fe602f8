"""Gas that radiates to the bore, in the heat balance of both paths."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch import core
from warmbranch.case.case import Case
from warmbranch.gas.gas import Composition
from warmbranch.steady.sensitivity import sensitivity
from warmbranch.steady.solve import solve
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up


def radiating(case: Case, strength: float = 1.0) -> Case:
    closures = case.closures.changed(gas_radiation=np.full(len(case), strength))
    return case.changed(closures=closures)


@pytest.fixture(params=["core", "numpy"])
def path(request, monkeypatch):
    if request.param == "numpy":
        monkeypatch.setenv(core.OFF, "off")
    return request.param


def test_a_transparent_gas_is_as_before(make_case, path):
    """Exact limits: strength 0, a fixed inner film. Air's 0.04 % of carbon dioxide count little."""
    case = make_case(gas_temperature=600.0)
    plain = solve(radiating(case, 0.0))
    air = make_case(gas_temperature=600.0, gas=Composition.dry_air())
    transparent = solve(radiating(air, 0.0)).profile.gas
    assert np.abs(solve(air).profile.gas - transparent).max() < 0.5
    fixed = make_case(gas_temperature=600.0, fixed_inner_film=12.0)
    transparent = solve(radiating(fixed, 0.0)).profile.gas
    np.testing.assert_array_equal(solve(fixed).profile.gas, transparent)
    faint = solve(radiating(case, 1e-9))
    assert_allclose(faint.resonance, plain.resonance, rtol=1e-9)


def test_it_cools_the_gas_and_lowers_the_tone(make_case, path):
    """In still gas and in gas that turns; by more in hotter gas, and never by a per cent."""
    for buoyancy in (0.0, 1.0):
        hot = np.array([423.15, 548.15, 673.15])
        case = make_case(gas_temperature=hot, air_speed=1.0, buoyancy=buoyancy)
        plain, found = solve(radiating(case, 0.0)), solve(radiating(case))
        fall = 1 - found.resonance[:, 0] / plain.resonance[:, 0]
        assert np.all(found.profile.closure_error < 1e-8)
        assert 0 < fall[0] < fall[1] < fall[2] < 0.01


def test_both_paths_agree(make_case, monkeypatch):
    cases = Case.concatenate(
        [
            radiating(make_case(gas_temperature=650.0, rise=0.4)),
            radiating(make_case(gas_temperature=950.0, wrap_thickness=0.006)),
            make_case(gas_temperature=500.0),
            radiating(make_case(gas_temperature=450.0, fixed_inner_film=9.0)),
        ]
    )
    compiled = solve(cases)
    monkeypatch.setenv(core.OFF, "off")
    plain = solve(cases)
    for name in ("gas", "wall", "skin"):
        assert_allclose(
            getattr(compiled.profile, name), getattr(plain.profile, name), rtol=1e-10, err_msg=name
        )
    assert_allclose(compiled.resonance, plain.resonance, rtol=1e-10)
    np.testing.assert_array_equal(compiled.profile.iterations, plain.profile.iterations)


def test_sensitivities_are_those_of_differences(make_case):
    case = radiating(make_case(gas_temperature=600.0))
    found = sensitivity(solve(case), ["main_pipe.gas_temperature"]).resonance[0, 0]

    def tone(shift):
        hot = case.main_pipe.gas_temperature + shift
        position = solve(case).profile.position
        moved = case.changed(main_pipe=case.main_pipe.changed(gas_temperature=hot))
        return solve(moved, position=position).resonance[0, 0]

    assert found == pytest.approx((tone(0.5) - tone(-0.5)), rel=2e-4)


def test_a_long_warm_up_ends_where_steady_stands(make_case, path):
    case = radiating(make_case(gas_temperature=650.0))
    warmed = warm_up(case, Drive(6 * 3600.0), np.array([0.0, 6 * 3600.0]))
    steady = solve(case, position=warmed.position)
    assert_allclose(warmed.skin[0, -1], steady.profile.skin[0], rtol=0, atol=2e-3)
