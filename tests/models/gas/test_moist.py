"""A gas that has lost water: tables of the dried composition, and Cantera."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import SPECIES, Composition, MixtureTable
from warmbranch.gas.moist import dried_gas

WATER = SPECIES.index("H2O")
TEMPERATURE = np.array([[300.0, 330.0, 380.0, 450.0]])


def dried(gas, left):
    """The composition with so much water left, and the moles that each mole of it lost."""
    own = gas.mole_fractions
    whole = own[0, WATER]
    shares = own * (1 - left) / (1 - whole)
    shares[0, WATER] = left
    return Composition(shares), (whole - left) / (1 - whole)


@pytest.mark.parametrize("fuel", ["petrol", "methane"])
@pytest.mark.parametrize("left", [0.0, 0.023, 0.08])
def test_the_table_of_the_dried_composition(fuel, left):
    gas = burnt_gas(fuel, 1.0)
    other, lost = dried(gas, left)
    found = dried_gas(MixtureTable.of(gas), TEMPERATURE, np.full_like(TEMPERATURE, lost))
    table = MixtureTable.of(other)
    expected = table.evaluate(TEMPERATURE)
    assert_allclose(found.gas_constant, table.gas_constant[0], rtol=1e-13)
    assert_allclose(found.heat_capacity, expected.heat_capacity, rtol=1e-12)
    # A straight line in place of the mixing rules: 1 %, where leaving them alone errs by 8 %.
    assert_allclose(found.viscosity, expected.viscosity, rtol=0.01)
    assert_allclose(found.conductivity, expected.conductivity, rtol=0.01)


def test_nothing_lost_is_the_gas_itself():
    table = MixtureTable.of(burnt_gas("petrol", 1.0))
    found = dried_gas(table, TEMPERATURE, np.zeros_like(TEMPERATURE))
    assert_allclose(found.heat_capacity, table.evaluate(TEMPERATURE).heat_capacity, rtol=1e-15)
    assert_allclose(found.gas_constant, table.gas_constant[0], rtol=1e-15)


def test_sound_speed_of_the_drying_gas_against_cantera():
    """Burnt petrol that dries from 12.4 % of water to what 20 °C leaves: GRI-Mech's thermodynamics
    (NASA polynomials) within 0.05 %, as the whole gas's."""
    cantera = pytest.importorskip("cantera")
    gas = burnt_gas("petrol", 1.0)
    mixture = cantera.Solution("gri30.yaml")
    names = ["AR" if name == "Ar" else name for name in SPECIES]
    for left in (0.124, 0.08, 0.023):
        other, lost = dried(gas, left)
        found = dried_gas(MixtureTable.of(gas), TEMPERATURE, np.full_like(TEMPERATURE, lost))
        speed = np.sqrt(found.heat_capacity_ratio * found.gas_constant * TEMPERATURE)[0]
        for kelvin, own in zip(TEMPERATURE[0], speed, strict=True):
            shares = dict(zip(names, other.mole_fractions[0], strict=True))
            mixture.TPX = float(kelvin), 101325.0, shares
            ratio = mixture.cp_mole / (mixture.cp_mole - cantera.gas_constant)
            theirs = np.sqrt(ratio * cantera.gas_constant / mixture.mean_molecular_weight * kelvin)
            assert own == pytest.approx(theirs, rel=5e-4)
