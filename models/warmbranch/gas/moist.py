"""A gas that has lost some of its water."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.gas.gas import SPECIES, Composition, MixtureTable


class DriedGas(NamedTuple):
    """Properties of a gas that has lost water; each (designs, nodes).

    Parameters
    ----------
    gas_constant, heat_capacity : J/(kg K)
    conductivity : W/(m K)
    viscosity : Pa s
    """

    gas_constant: FloatArray
    heat_capacity: FloatArray
    conductivity: FloatArray
    viscosity: FloatArray

    @property
    def heat_capacity_ratio(self) -> FloatArray:
        """Dimensionless."""
        return self.heat_capacity / (self.heat_capacity - self.gas_constant)


@lru_cache(maxsize=1)
def water_table() -> MixtureTable:
    """Table of water vapour, one design."""
    return MixtureTable.of(Composition(np.array([[float(name == "H2O") for name in SPECIES]])))


def dried_gas(gas: MixtureTable, temperature: FloatArray, dried: FloatArray) -> DriedGas:
    """A gas of which a mole is left of ``1 + dried`` moles, the rest being water that it lost.

    Parameters
    ----------
    gas : MixtureTable
        Before it lost any.
    temperature : (designs, nodes) array, K
    dried : (designs, nodes) array, mol/mol

    Valid for
    ---------
    Gas constant and heat capacity: exact for an ideal gas. Viscosity and conductivity, carried on
    in a straight line from pure water's by way of the whole gas's: within 1 % of Wilke's and of
    Mason and Saxena's rules between 300 and 500 K, however much of up to 19 % of water is lost.

    Check
    -----
    Tables of the dried compositions, Cantera's sound speed: tests/models/gas/test_moist.py.
    """
    whole, water = gas.evaluate(temperature), water_table()
    own = gas.gas_constant[:, None]
    if not dried.any():
        return DriedGas(own, whole.heat_capacity, whole.conductivity, whole.viscosity)
    lost = water.evaluate(temperature)
    kept = 1 + dried
    constant = 1 / (kept / own - dried / water.gas_constant)
    molar = kept * whole.heat_capacity / own - dried * lost.heat_capacity / water.gas_constant
    return DriedGas(
        constant,
        constant * molar,
        kept * whole.conductivity - dried * lost.conductivity,
        kept * whole.viscosity - dried * lost.viscosity,
    )
