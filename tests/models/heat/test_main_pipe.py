"""The main pipe at the mouth: gas speed, inner film, wall temperature."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.optimize import brentq

from warmbranch.base.constants import STEFAN_BOLTZMANN
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat import main_pipe_wall as module
from warmbranch.heat.films import OutsideFilm
from warmbranch.heat.main_pipe_wall import inner_film, wall_temperature
from warmbranch.heat.nusselt import nusselt_pipe


def wall_of(case):
    gas = MixtureTable.of(case.gas)
    return wall_temperature(case.main_pipe, gas, case.surroundings, dry_air_table())


def without_skin(case):
    pipe = replace(case.main_pipe, skin_temperature=np.full(len(case), np.nan))
    return replace(case, main_pipe=pipe)


def test_bulk_speed_by_hand(make_case):
    """ρ U A = ṁ with the ideal gas's p/(R T), R of stoichiometric petrol gas 286.41 J/(kg K)."""
    case = make_case(gas_temperature=600.0, mass_flow=0.02, pressure=98e3)
    density = 98e3 / (286.41 * 600.0)
    area = np.pi / 4 * 0.0542**2
    speed = bulk_speed(case.main_pipe, MixtureTable.of(case.gas), case.surroundings.pressure)
    assert_allclose(speed, 0.02 / density / area, rtol=1e-4)  # five digits of R


def test_inner_film_is_the_pipe_correlation_times_the_augmentation(make_case):
    flow = np.array([0.0, 0.0005, 0.003, 0.02, 0.2])
    case = make_case(mass_flow=flow, film_augmentation=1.0)
    gas = MixtureTable.of(case.gas)
    state = gas.evaluate(case.main_pipe.gas_temperature[:, None])
    viscosity, conductivity = state.viscosity[:, 0], state.conductivity[:, 0]
    reynolds = flow * 0.0542 / (np.pi / 4 * 0.0542**2) / viscosity
    prandtl = state.heat_capacity[:, 0] * viscosity / conductivity
    steady = nusselt_pipe(reynolds, prandtl) * conductivity / 0.0542
    assert_allclose(inner_film(case.main_pipe, gas), steady, rtol=1e-12)
    # Laminar and stagnant gas: Nu = 3.66.
    assert_allclose(steady[:2] * 0.0542 / conductivity[:2], 3.66, rtol=1e-12)
    tripled = replace(case.main_pipe, film_augmentation=np.full(5, 3.0))
    assert_allclose(inner_film(tripled, gas), 3 * steady, rtol=1e-12)


@pytest.mark.parametrize("size", [1, 256])
def test_wall_balances_its_heat(box_sample, size):
    """h_i P_i (T_g − T_w) = P_o [h_o (T_w − T_air) + εσ(T_w⁴ − T_rad⁴)], by bracketing.

    One design and many, as many may take the compiled path.
    """
    case = without_skin(box_sample(256, seed=31)).take(slice(0, size))
    pipe, around = case.main_pipe, case.surroundings
    film_inside = inner_film(pipe, MixtureTable.of(case.gas))
    found = wall_of(case)
    for i in range(0, size, 4):
        alone = around.take(slice(i, i + 1))
        film = OutsideFilm(
            dry_air_table(),
            alone,
            outside_diameter=pipe.outside_diameter[i : i + 1],
            length=np.ones(1),
            rise=np.zeros(1),
            factor=np.ones(1),
            fixed=np.array([np.nan]),
        )
        supply = film_inside[i] * np.pi * pipe.bore[i]
        hot, air = pipe.gas_temperature[i], around.air_temperature[i]
        radiant = around.radiant_temperature[i]

        def surplus(wall, film=film, i=i, supply=supply, hot=hot, air=air, radiant=radiant):
            convection = film.coefficient(np.array([[wall]]))[0, 0] * (wall - air)
            radiation = pipe.emissivity[i] * STEFAN_BOLTZMANN * (wall**4 - radiant**4)
            lost = np.pi * pipe.outside_diameter[i] * (convection + radiation)
            return supply * (hot - wall) - lost

        low, high = min(hot, air, radiant), max(hot, air, radiant)
        expected = low if high - low < 1e-9 else brentq(surplus, low, high, xtol=1e-10)
        # A last Newton step below 1e-5 K leaves far less than its own size.
        assert_allclose(found[i], expected, atol=1e-6)


def test_given_skin_temperature_is_used(make_case):
    given = np.array([np.nan, 380.0, np.nan, 500.0])
    case = make_case(skin_temperature=given, mass_flow=np.array([0.01, 0.01, 0.03, 0.03]))
    wall = wall_of(case)
    assert_array_equal(wall[[1, 3]], [380.0, 500.0])
    assert_array_equal(wall[[0, 2]], wall_of(without_skin(case))[[0, 2]])


def test_wall_lies_between_gas_and_surroundings(box_sample):
    case = without_skin(box_sample(256, seed=32))
    causes = np.stack(
        [
            case.main_pipe.gas_temperature,
            case.surroundings.air_temperature,
            case.surroundings.radiant_temperature,
        ]
    )
    wall = wall_of(case)
    assert np.all(wall >= causes.min(axis=0) - 1e-9)
    assert np.all(wall <= causes.max(axis=0) + 1e-9)


def test_limits(make_case):
    """All film inside: the gas's temperature. All film outside: nearer the air's."""
    strong = wall_of(make_case(film_augmentation=1e9))
    assert_allclose(strong, 423.15, atol=1e-4)
    wall = wall_of(make_case(air_speed=np.array([0.0, 1.0, 5.0, 60.0])))
    assert np.all(np.diff(wall) < 0)
    wall = wall_of(make_case(film_augmentation=np.array([0.5, 1.0, 3.0])))
    assert np.all(np.diff(wall) > 0)


def test_gas_as_warm_as_the_air_leaves_the_wall_there(make_case):
    assert_allclose(wall_of(make_case(gas_temperature=298.15)), 298.15, rtol=1e-12)


def test_a_solver_that_stops_short_says_which_designs(make_case, monkeypatch):
    """The first design is in balance from the start, the second needs more than one step."""
    monkeypatch.setattr(module, "MOST_WALL_STEPS", 1)
    with pytest.raises(NotConvergedError, match="main pipe") as caught:
        wall_of(make_case(gas_temperature=np.array([298.15, 900.0])))
    assert caught.value.designs == (1,)
    assert caught.value.residual > module.STEP_TOLERANCE
