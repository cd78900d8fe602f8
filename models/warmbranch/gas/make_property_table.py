"""Make the table of pure-gas properties: ``python -m warmbranch.gas.make_property_table``.

CoolProp is the source of all but the transport of carbon monoxide, which it lacks. It is asked by
density at a density near zero: that needs no search for a phase, works for water vapour below its
boiling point (where a call by pressure answers for the liquid, silently), and gives the
ideal-gas limit that mixing rules want.
"""

from __future__ import annotations

import importlib
import json
import os
from typing import Any, NamedTuple

import numpy as np

from warmbranch.gas.property_table import SPECIES, TABLE

FIRST, LAST, STEP = 200.0, 1360.0, 20.0
"""Grid, K; its two ends reach one interval beyond the range in use, where a spline is poorest."""

DENSITY = 1e-3
"""Density asked for, mol/m³: 8 Pa at 1000 K."""

DIGITS = 9
"""Significant digits kept: far below the scatter of the data, far above the spline's error."""

COOLPROP_NAMES = {
    "N2": "Nitrogen",
    "O2": "Oxygen",
    "CO2": "CarbonDioxide",
    "H2O": "Water",
    "Ar": "Argon",
    "CO": "CarbonMonoxide",
    "H2": "Hydrogen",
    "CH4": "Methane",
}

COMMAND = "python -m warmbranch.gas.make_property_table"


class PureState(NamedTuple):
    """One gas at one temperature in the ideal-gas limit.

    Parameters
    ----------
    heat_capacity : float, J/(mol K)
        At constant pressure.
    viscosity : float, Pa s
    conductivity : float, W/(m K)
    """

    heat_capacity: float
    viscosity: float
    conductivity: float


class PureGas:
    """One species of CoolProp at nearly no density."""

    def __init__(self, species: str) -> None:
        coolprop = import_coolprop()
        self._inputs = coolprop.DmolarT_INPUTS
        self._state = coolprop.AbstractState("HEOS", COOLPROP_NAMES[species])
        self._state.specify_phase(coolprop.iphase_gas)
        self._twin = PureGas("N2") if species == "CO" else None

    @property
    def molar_mass(self) -> float:
        """Molar mass, kg/mol."""
        return float(self._state.molar_mass())

    def at(self, temperature: float) -> PureState:
        """Properties at ``temperature``, K."""
        self._state.update(self._inputs, DENSITY, temperature)
        heat_capacity = float(self._state.cp0molar())
        if self._twin is not None:
            return _like_nitrogen(heat_capacity, self._twin.at(temperature))
        return PureState(
            heat_capacity, float(self._state.viscosity()), float(self._state.conductivity())
        )


def _like_nitrogen(heat_capacity: float, nitrogen: PureState) -> PureState:
    """Carbon monoxide from nitrogen, its isoelectronic twin of nearly the same molar mass.

    The viscosity is nitrogen's; the conductivity is nitrogen's times the ratio of heat capacities,
    so that both gases have one Eucken factor.

    Check
    -----
    Kinetic theory, in tests/models/gas/test_property_table.py: viscosity 2 %, conductivity 4 %.

    Source
    ------
    McBride, Gordon & Reno, NASA TM-4513 (1993), give both gases one set of viscosity coefficients;
    from quotations of their tables in public code.
    """
    ratio = heat_capacity / nitrogen.heat_capacity
    return PureState(heat_capacity, nitrogen.viscosity, nitrogen.conductivity * ratio)


def import_coolprop() -> Any:
    """CoolProp, of the extra ``test``: it takes seconds, and only making the table needs it."""
    # Most of those seconds go on fast tables for saturation, which nothing here needs.
    os.environ.setdefault("COOLPROP_DISABLE_SUPERANCILLARIES_ENTIRELY", "1")
    return importlib.import_module("CoolProp.CoolProp")


def make_table() -> str:
    """Text of the table: JSON with one temperature a line, so that changes show line by line."""
    temperatures = np.arange(FIRST, LAST + STEP / 2, STEP)
    gases = ",\n".join(_gas_block(species, temperatures) for species in SPECIES)
    metadata = json.dumps(_metadata(), indent=1)
    return f'{{"metadata": {metadata},\n"gases": {{\n{gases}\n}}}}\n'


def _gas_block(species: str, temperatures: np.ndarray[Any, Any]) -> str:
    gas = PureGas(species)
    rows = ",\n".join(
        f"[{', '.join(f'{value:.{DIGITS}g}' for value in (temperature, *gas.at(temperature)))}]"
        for temperature in temperatures.tolist()
    )
    return f'"{species}": {{"molar_mass": {gas.molar_mass:.{DIGITS}g}, "rows": [\n{rows}\n]}}'


def _metadata() -> dict[str, object]:
    coolprop = import_coolprop()
    return {
        "command": COMMAND,
        "source": f"CoolProp {importlib.import_module('CoolProp').__version__}",
        "columns": [
            "temperature, K",
            "molar heat capacity at constant pressure, J/(mol K)",
            "viscosity, Pa s",
            "conductivity, W/(m K)",
        ],
        "state": f"zero-density limit, taken at {DENSITY:g} mol/m3",
        "models": {
            species: {
                what: str(coolprop.get_BibTeXKey(COOLPROP_NAMES[species], key))
                for what, key in (
                    ("equation of state", "EOS"),
                    ("viscosity", "VISCOSITY"),
                    ("conductivity", "CONDUCTIVITY"),
                )
            }
            for species in SPECIES
        },
        "notes": {
            "CO": "viscosity of N2; conductivity of N2 times the ratio of heat capacities",
            "H2O": "below 273.16 K the models are extrapolated",
        },
    }


def main() -> None:
    """Write the table where the package reads it."""
    TABLE.write_text(make_table(), encoding="utf-8")


if __name__ == "__main__":
    main()
