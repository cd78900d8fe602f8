"""The shipped table says what CoolProp says, on the grid and between."""

import json

import numpy as np
import pytest

from warmbranch.gas.gas import COLDEST, HOTTEST, Composition, MixtureTable
from warmbranch.gas.make_property_table import COMMAND, PureGas, make_table
from warmbranch.gas.property_table import SPECIES, TABLE, pure_gases


def read(text):
    return {name: np.array(gas["rows"]) for name, gas in json.loads(text)["gases"].items()}


def test_remaking_the_table_gives_the_table():
    made, shipped = read(make_table()), read(TABLE.read_text(encoding="utf-8"))
    assert made.keys() == shipped.keys() == set(SPECIES)
    for name in SPECIES:
        # Nine digits are kept.
        np.testing.assert_allclose(made[name], shipped[name], rtol=1e-8, atol=0, err_msg=name)


def test_grid_is_uniform_and_reaches_beyond_the_range_in_use():
    temperature = pure_gases().temperature
    np.testing.assert_allclose(np.diff(temperature), temperature[1] - temperature[0], rtol=1e-12)
    assert temperature[0] < COLDEST
    assert temperature[-1] > HOTTEST


def test_metadata_names_the_source_and_the_command():
    metadata = pure_gases().metadata
    assert metadata["source"].startswith("CoolProp ")
    assert metadata["command"] == COMMAND
    assert set(metadata["models"]) == set(SPECIES)


@pytest.mark.parametrize("name", SPECIES)
def test_spline_gives_coolprop_between_the_nodes(name):
    gas = PureGas(name)
    # 37 K and 20 K share no factor: the spots fall everywhere within the pieces.
    temperature = np.arange(COLDEST + 3.7, HOTTEST, 37.0)
    expected = np.array([gas.at(spot) for spot in temperature.tolist()])
    table = MixtureTable.of(Composition.from_mole_fractions({name: 1.0}))
    state = table.evaluate(temperature[None])
    # A spline on steps of 20 K errs by some 1e-6, and by more only where the formulation for
    # the viscosity of water vapour, below its triple point, has a sharp bend.
    for found, wanted in (
        (state.heat_capacity[0] * gas.molar_mass, expected[:, 0]),
        (state.viscosity[0], expected[:, 1]),
        (state.conductivity[0], expected[:, 2]),
    ):
        warm = temperature > 273.16
        np.testing.assert_allclose(found[warm], wanted[warm], rtol=5e-6, atol=0)
        np.testing.assert_allclose(found, wanted, rtol=2e-4 if name == "H2O" else 5e-6, atol=0)


def test_cold_steam_is_vapour():
    gases = pure_gases()
    column = SPECIES.index("H2O")
    cold = gases.temperature < 373
    # Liquid water is some 80 times as viscous and 30 times as conductive.
    assert np.all(gases.viscosity[cold, column] < 1.3e-5)
    assert np.all(gases.conductivity[cold, column] < 0.025)


def test_carbon_monoxide_stands_in_well(cantera):
    """Against the kinetic theory of Cantera 3, GRI-Mech 3.0 transport data."""
    theory = cantera.Solution("gri30.yaml", transport_model="mixture-averaged")
    temperature = np.array([[300.0, 500.0, 800.0, 1300.0]])
    state = MixtureTable.of(Composition.from_mole_fractions({"CO": 1.0})).evaluate(temperature)
    for spot, viscosity, conductivity in zip(
        temperature[0], state.viscosity[0], state.conductivity[0], strict=True
    ):
        theory.TPX = spot, 101325.0, "CO:1"
        # The theory itself is 1 % off CoolProp for nitrogen at 300 K.
        assert viscosity == pytest.approx(theory.viscosity, rel=0.02)
        assert conductivity == pytest.approx(theory.thermal_conductivity, rel=0.075)
