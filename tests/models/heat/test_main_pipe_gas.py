"""The main pipe's balance backwards: what the forward balance makes of a gas, gives it back."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.base.constants import STEFAN_BOLTZMANN
from warmbranch.fit.main_gas import SkinReading, from_load, from_skin
from warmbranch.fit.thermometer import displayed_by_infrared
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.main_pipe_gas import ENGINE_LOADS, Flow, gas_temperature
from warmbranch.heat.main_pipe_wall import wall_temperature

ROUNDING = 1e-6
"""K. The forward balance is solved to steps of 1e-5 K, whose square is what is left."""


def parts(case):
    return case.main_pipe, MixtureTable.of(case.gas), case.surroundings, dry_air_table()


def given_flow(case, speed=math.nan):
    return Flow(case.surroundings.pressure, np.full(len(case), speed))


@pytest.mark.parametrize("size", [1, 256])
def test_its_own_wall_returns_its_gas(box_sample, size):
    case = box_sample(size)
    pipe = replace(case.main_pipe, skin_temperature=np.full(size, np.nan))
    _, gas, around, air = parts(case)
    wall = wall_temperature(pipe, gas, around, air)
    found = gas_temperature(wall, pipe, gas, around, air, given_flow(case))
    # How much a rounding of the wall moves the gas: the slope of the forward balance.
    warmer = pipe.changed(gas_temperature=pipe.gas_temperature + 0.01)
    slope = (wall_temperature(warmer, gas, around, air) - wall) / 0.01
    assert np.all(slope > 0)
    assert np.all(np.abs(found - pipe.gas_temperature) < ROUNDING / np.minimum(slope, 1.0))


def test_an_assumed_speed_goes_with_the_gas_that_is_sought(make_case):
    case = make_case(gas_temperature=583.15)
    pipe, gas, around, air = parts(case)
    flow = given_flow(case, 20.0)
    own = pipe.changed(mass_flow=flow.at(pipe.gas_temperature, pipe, gas))
    wall = wall_temperature(own, gas, around, air)
    found = gas_temperature(wall, pipe, gas, around, air, flow)
    assert_allclose(found, 583.15, atol=ROUNDING * 10)


def test_laminar_gas_by_hand(make_case):
    """Nu = 3.66 at rest: what 3.66 k/D (T_g − T_w) d/D brings in is what the skin loses, and more
    than it radiates; the inverse finds that gas again."""
    case = make_case(mass_flow=0.0, film_augmentation=1.0, gas_temperature=700.0)
    pipe, gas, around, air = parts(case)
    wall = wall_temperature(pipe, gas, around, air)
    conductivity = gas.evaluate(np.array([[700.0]])).conductivity[0, 0]
    film = 3.66 * conductivity / pipe.bore
    lost = film * pipe.bore / pipe.outside_diameter * (700.0 - wall)
    radiated = pipe.emissivity * STEFAN_BOLTZMANN * (wall**4 - around.radiant_temperature**4)
    assert np.all(lost > radiated)
    found = gas_temperature(wall, pipe, gas, around, air, given_flow(case))
    assert_allclose(found, 700.0, atol=1e-4)  # a film of 3 W/m²K: 100 times the wall's rounding


def test_no_gas_keeps_a_wall_that_hot(make_case):
    case = make_case(mass_flow=1e-4, film_augmentation=1.0)
    pipe, gas, around, air = parts(case)
    found = gas_temperature(np.array([900.0]), pipe, gas, around, air, given_flow(case))
    assert np.isnan(found).all()


def reading_of(displayed, **changed):
    usual = {
        "displayed": displayed,
        "uncertainty": 4.0,
        "infrared": True,
        "emissivity": 0.95,
        "emissivity_spread": 0.2,
        "emissivity_set": 0.95,
        "is_pipes_own": False,
    }
    return SkinReading(**(usual | changed))


def test_a_thermometer_of_the_models_own_skin_returns_its_gas(make_case):
    case = make_case(gas_temperature=583.15, mass_flow=95 / 3600)
    pipe, gas, around, air = parts(case)
    wall = wall_temperature(pipe, gas, around, air)
    air_t = around.air_temperature
    one = np.ones(1)
    shown = displayed_by_infrared(wall, 0.4 * one, 0.95 * one, air_t, air_t, one, air_t)
    reading = reading_of(float(shown[0]), emissivity=0.4, is_pipes_own=True)
    found = from_skin(reading, pipe, gas, around, given_flow(case), 0.4)
    # The radiometry is inverted to a relative 1e-9 of the kelvins.
    assert found.temperature == pytest.approx(583.15, abs=1e-4)
    assert found.skin == pytest.approx(float(wall[0]), abs=1e-5)


def test_a_surer_reading_is_surer(make_case):
    case = make_case(gas_temperature=583.15, mass_flow=95 / 3600)
    pipe, gas, around, _ = parts(case)
    sure = from_skin(reading_of(450.0), pipe, gas, around, given_flow(case), 0.4)
    vague = reading_of(350.0, emissivity=0.4, emissivity_spread=0.6, is_pipes_own=True)
    unsure = from_skin(vague, pipe, gas, around, given_flow(case), 0.4)
    assumed = from_skin(reading_of(450.0), pipe, gas, around, given_flow(case, 20.0), 0.4)
    assert sure.spread < unsure.spread
    assert sure.spread < assumed.spread
    low, high = sure.interval_90(298.15)
    assert low < sure.temperature < high


def test_loads_rise_and_overlap():
    temperatures = [from_load(name, 293.15).temperature for name in ("idle", "cruise", "hard")]
    assert temperatures == sorted(temperatures)
    assert all(prior.low < prior.median < prior.high for prior in ENGINE_LOADS.values())
