"""Vapour pressure and dew point of water."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from warmbranch.base.errors import PropertyRangeError
from warmbranch.gas.combustion import AIR, burnt_gas
from warmbranch.gas.gas import Composition
from warmbranch.gas.make_property_table import import_coolprop
from warmbranch.gas.saturation import (
    TRIPLE_PRESSURE,
    TRIPLE_TEMPERATURE,
    dew_point,
    saturation_pressure,
    saturation_temperature,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def published(*names):
    return [
        pytest.param(value, id=f"{name}: {value['name']}")
        for name in names
        for value in tomllib.loads((PUBLISHED / f"{name}.toml").read_text("utf-8"))["value"]
    ]


@pytest.mark.parametrize("value", published("IAPWS1997", "IAPWS2011"))
def test_published_values(value):
    if value["quantity"] == "saturation pressure":
        found = saturation_pressure(value["inputs"]["temperature_K"])
    else:
        found = saturation_temperature(value["inputs"]["pressure_Pa"])
    assert found[0] == pytest.approx(value["result"], rel=value["tolerance_relative"])


def test_agrees_with_coolprop_over_water():
    coolprop = import_coolprop()
    temperature = np.linspace(273.17, 620.0, 40)
    expected = coolprop.PropsSI("P", "T", temperature, "Q", 1, "Water")
    # The industrial formulation follows the scientific one within 0.03 %.
    np.testing.assert_allclose(saturation_pressure(temperature), expected, rtol=3e-4, atol=0)


def test_the_two_formulae_meet_at_the_triple_point():
    near = saturation_pressure(
        [np.nextafter(TRIPLE_TEMPERATURE, 0.0), TRIPLE_TEMPERATURE, TRIPLE_TEMPERATURE + 1e-9]
    )
    # The industrial formulation has 611.657 Pa there to its last digit.
    np.testing.assert_allclose(near, TRIPLE_PRESSURE, rtol=1e-6, atol=0)


def test_temperature_undoes_pressure():
    temperature = np.linspace(100.0, 640.0, 271)
    back = saturation_temperature(saturation_pressure(temperature))
    # Newton over ice ends in rounding; over water the equation is solved in closed form, which
    # loses digits in a difference of squares.
    np.testing.assert_allclose(back, temperature, rtol=1e-9, atol=0)


def test_dew_point_of_exhaust_agrees_with_coolprop():
    coolprop = import_coolprop()
    gas = burnt_gas("petrol", np.array([1.0, 1.5, 3.0]), 0.008)
    vapour = gas.mole_fractions[:, 3] * 95000.0
    expected = coolprop.PropsSI("T", "P", vapour, "Q", 1, "Water")
    # 0.03 % of pressure is 0.005 K.
    np.testing.assert_allclose(dew_point(gas, 95000.0), expected, rtol=0, atol=0.005)


def test_dew_point_of_each_design_at_its_own_pressure():
    gas = burnt_gas("petrol", np.array([1.0, 1.0]))
    low, high = dew_point(gas, np.array([50000.0, 200000.0]))
    assert low == pytest.approx(dew_point(gas.take(slice(1)), 50000.0)[0], rel=1e-14)
    assert high > low


def test_frost_point_of_dry_winter_air():
    humid = burnt_gas(AIR, 1.0, 0.0005)
    frost = dew_point(humid, 101325.0)
    assert frost[0] < TRIPLE_TEMPERATURE
    assert saturation_pressure(frost)[0] == pytest.approx(
        humid.mole_fractions[0, 3] * 101325.0, rel=1e-12
    )


def test_dry_gas_has_no_dew_point():
    assert np.isnan(dew_point(Composition.dry_air(), 101325.0)).all()


@pytest.mark.parametrize("temperature", [20.0, 700.0, np.nan])
def test_no_vapour_pressure_outside_the_formulae(temperature):
    with pytest.raises(PropertyRangeError, match="Give a temperature"):
        saturation_pressure(temperature)
