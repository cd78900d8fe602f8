"""A branch whose front stands in other air than its rear."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch import core
from warmbranch.case.case import Case
from warmbranch.case.materials import Metal
from warmbranch.gas.gas import MixtureTable
from warmbranch.steady.solve import solve
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up

FRONT, REAR = 293.15, 301.15
METAL = 16.0  # W/(m K)
BEHIND = {
    "rear_from": 0.4,
    "rear_air_temperature": REAR,
    "rear_radiant_temperature": REAR,
    "rear_air_speed": 0.0,
}


def with_rear(case: Case, **changes: float) -> Case:
    size = len(case)
    given = {name: np.full(size, value) for name, value in {**BEHIND, **changes}.items()}
    return case.changed(surroundings=case.surroundings.changed(**given))


@pytest.fixture(params=["core", "numpy"])
def path(request, monkeypatch):
    if request.param == "numpy":
        monkeypatch.setenv(core.OFF, "off")
    return request.param


def test_a_rear_like_the_front_is_no_rear(make_case, path):
    """Exact limit; a rear that begins behind the cap, to the last bit."""
    case = make_case(gas_temperature=600.0, air_speed=3.0)
    around = case.surroundings
    plain = solve(case)
    like = with_rear(
        case,
        rear_air_temperature=around.air_temperature[0],
        rear_radiant_temperature=around.radiant_temperature[0],
        rear_air_speed=3.0,
    )
    found = solve(like)
    assert_allclose(found.profile.gas, plain.profile.gas, rtol=1e-12)
    assert_allclose(found.profile.skin, plain.profile.skin, rtol=1e-12)
    assert_allclose(found.resonance, plain.resonance, rtol=1e-11)
    beyond = solve(with_rear(case, rear_from=case.branch.length[0]))
    np.testing.assert_array_equal(beyond.profile.gas, plain.profile.gas)
    np.testing.assert_array_equal(beyond.resonance, plain.resonance)


def test_a_rear_from_the_mouth_on_is_all_there_is(make_case, path):
    """The main pipe, whose wall is given here, stays in the front."""
    case = make_case(gas_temperature=600.0, skin_temperature=500.0, air_speed=3.0)
    around = case.surroundings.changed(
        air_temperature=np.full(1, REAR), radiant_temperature=np.full(1, REAR)
    )
    plain = solve(case.changed(surroundings=around))
    # The same wind and the same nodes, which hang on what the front is like.
    rear = with_rear(case, rear_from=0.0, rear_air_speed=3.0)
    found = solve(rear, position=plain.profile.position)
    assert_allclose(found.profile.skin, plain.profile.skin, rtol=1e-9)
    assert_allclose(found.resonance, plain.resonance, rtol=1e-9)


def a_fin(make_case, meeting: float) -> Case:
    """A tube that only conducts, long on both sides of the place where the air changes."""
    return with_rear(
        make_case(
            metal=Metal.constant(METAL, 7900.0, 500.0),
            length=1.6,
            gas_temperature=FRONT,
            skin_temperature=FRONT,
            air_temperature=FRONT,
            emissivity=0.0,
            fixed_diffusivity=0.0,
            fixed_inner_film=1000.0,
            fixed_outer_film=12.0,
        ),
        rear_from=meeting,
        rear_air_temperature=FRONT + 1,
        rear_radiant_temperature=FRONT + 1,
    )


def fin_error(case: Case, nodes: int) -> float:
    """Largest error on even nodes, over the airs' difference, against two half-lines that meet.

    Where they meet the wall has the mean of both airs, and from there it falls to either as
    exp(−m |x − x0|), m² = h P/(k A): the gas's conduction, 1 % of the metal's, is counted in.
    """
    position = np.linspace(0.0, case.branch.length[0], nodes)[None]
    profile = solve(case, position=position).profile
    branch = case.branch
    middle = np.array([[FRONT + 0.5]])
    gas = MixtureTable.of(case.gas).evaluate(middle).conductivity[0, 0] * branch.bore_area[0]
    m = np.sqrt(12.0 * np.pi * branch.outside_diameter[0] / (METAL * branch.wall_area[0] + gas))
    away = profile.position[0] - case.surroundings.rear_from[0]
    exact = FRONT + np.where(away < 0, np.exp(m * away) / 2, 1 - np.exp(-m * away) / 2)
    return float(np.abs(profile.wall[0] - exact).max())


@pytest.mark.parametrize("meeting", [0.8, 0.7875], ids=["at a node", "at a face"])
def test_between_two_airs_a_fin_falls_to_either(make_case, path, meeting):
    """Second order: with cells a third as long the place lies alike among them."""
    case = a_fin(make_case, meeting)
    coarse, fine = fin_error(case, 193), fin_error(case, 577)
    assert fine < (22.7 * 1.6 / 576) ** 2 / 8  # see below
    assert coarse / fine == pytest.approx(9, rel=0.1)


def test_wherever_the_airs_meet_the_error_is_of_second_order(make_case):
    """Half of the largest load amiss in one cell moves the wall by (m h)²/8 at the most."""
    step = 1.6 / 384
    for meeting in 0.8 + step * np.linspace(0, 1, 9):
        assert fin_error(a_fin(make_case, meeting), 385) < (22.7 * step) ** 2 / 8


def test_heat_is_conserved(make_case, path):
    profile = solve(with_rear(make_case(gas_temperature=700.0, wrap_thickness=0.004))).profile
    assert profile.closure_error[0] < 1e-8


def test_both_paths_agree(make_case, monkeypatch):
    cases = Case.concatenate(
        [
            with_rear(make_case(gas_temperature=650.0, air_speed=5.0, rise=0.3)),
            with_rear(make_case(gas_temperature=450.0, wrap_thickness=0.006), rear_from=0.137),
            make_case(gas_temperature=500.0),
            with_rear(make_case(gas_temperature=650.0, air_speed=0.0), rear_air_speed=8.0),
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


def test_wind_in_front_lowers_the_tone_and_wind_behind_does_so_less(make_case):
    """The front is where the heat is: what cools it there is what counts."""
    case = make_case(gas_temperature=600.0, air_speed=0.0)
    still = solve(case).resonance[0, 0]
    half = case.branch.length[0] / 2
    same = {
        "rear_from": half,
        "rear_air_temperature": case.surroundings.air_temperature[0],
        "rear_radiant_temperature": case.surroundings.radiant_temperature[0],
    }
    behind = solve(with_rear(case, **same, rear_air_speed=8.0)).resonance[0, 0]
    blown = case.changed(surroundings=case.surroundings.changed(air_speed=np.full(1, 8.0)))
    front = solve(with_rear(blown, **same, rear_air_speed=0.0)).resonance[0, 0]
    assert front < still
    assert abs(behind - still) < abs(front - still) / 3


@pytest.mark.parametrize("loops", ["core", "numpy"])
def test_a_long_warm_up_ends_where_steady_stands(make_case, monkeypatch, loops):
    if loops == "numpy":
        monkeypatch.setenv(core.OFF, "off")
    case = with_rear(make_case(gas_temperature=550.0, air_speed=4.0))
    warmed = warm_up(case, Drive(6 * 3600.0), np.array([0.0, 6 * 3600.0]))
    steady = solve(case, position=warmed.position)
    # A thousandth of a kelvin is the tolerance of one step.
    assert_allclose(warmed.skin[0, -1], steady.profile.skin[0], rtol=0, atol=2e-3)
