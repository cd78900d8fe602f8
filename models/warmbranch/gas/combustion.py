"""What leaves an engine: composition of burnt gas from fuel, excess air and humidity.

Combustion is complete when lean. When rich, oxygen is short, and carbon and hydrogen share it by
the water-gas equilibrium, frozen in the expansion stroke. Traces (NO, soot, unburnt fuel) are left
out: they change no property that matters here.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import InputError, PropertyRangeError
from warmbranch.gas.gas import SPECIES, Composition
from warmbranch.gas.property_table import pure_gases
from warmbranch.gas.saturation import saturation_pressure

RICHEST, LEANEST = 0.8, 6.0
"""Excess-air ratios between which ``burnt_gas`` answers. Richer, soot and hydrocarbons appear."""

MOST_HUMID = 0.5
"""Most water in the intake air, kg/kg of dry air; air is saturated below this up to 60 °C."""

WATER_GAS_CONSTANT = 3.5
"""``[CO][H2O] / ([CO2][H2])`` where the equilibrium freezes, at about 1740 K.

[Heywood1988], chapter 4, from memory; tests/models/gas/test_combustion.py computes it anew.
"""

AIR = "dry air"
"""Name that stands for no fuel at all: the gas is the intake air."""


class Fuel(NamedTuple):
    """One fuel as ``C H_y O_z``.

    Parameters
    ----------
    name : str
    hydrogen, oxygen : float, dimensionless
        ``y`` and ``z``: atoms for each atom of carbon.
    source : str
    """

    name: str
    hydrogen: float
    oxygen: float
    source: str

    @property
    def oxygen_needed(self) -> float:
        """O2 for complete combustion, mol a mol of carbon."""
        return 1 + self.hydrogen / 4 - self.oxygen / 2


def _with_ethanol(name: str, share: float, base: float, densities: tuple[float, float]) -> Fuel:
    """Petrol ``C H_base`` with a ``share`` of ethanol by volume; ``densities`` ethanol, petrol."""
    carbon, hydrogen, oxygen = _atomic_masses()
    ethanol = share * densities[0] / (2 * carbon + 6 * hydrogen + oxygen)
    petrol = (1 - share) * densities[1] / (carbon + base * hydrogen)
    atoms = 2 * ethanol + petrol
    return Fuel(
        name,
        (6 * ethanol + base * petrol) / atoms,
        ethanol / atoms,
        f"{share:.0%} ethanol by volume in petrol C H{base}; densities {densities[0]:g} and "
        f"{densities[1]:g} kg/m³ at 20 °C, from memory",
    )


def _atomic_masses() -> tuple[float, float, float]:
    """Molar masses of C, H and O, kg/mol, such that the table's gases weigh their sums."""
    mass = dict(zip(SPECIES, pure_gases().molar_mass.tolist(), strict=True))
    return mass["CO2"] - mass["O2"], mass["H2"] / 2, mass["O2"] / 2


PETROL_HYDROGEN = 1.85
LIQUID_DENSITIES = (789.0, 745.0)

FUELS: dict[str, Fuel] = {
    fuel.name: fuel
    for fuel in (
        Fuel(
            "petrol", PETROL_HYDROGEN, 0.0, "between C H1.8 and C H1.9, from memory [Heywood1988]"
        ),
        _with_ethanol("petrol E10", 0.10, PETROL_HYDROGEN, LIQUID_DENSITIES),
        _with_ethanol("E85", 0.85, PETROL_HYDROGEN, LIQUID_DENSITIES),
        Fuel("diesel", 1.8, 0.0, "light diesel, from memory [Heywood1988]"),
        Fuel("LPG", 18 / 7, 0.0, "propane and butane, half and half by mole"),
        Fuel("methane", 4.0, 0.0, "exact; natural gas and biogas come near"),
    )
}
"""Fuels by name."""


def find_fuel(name: str) -> Fuel:
    """The fuel of this name, or ``InputError``."""
    if name not in FUELS:
        raise InputError(
            "There is no such fuel.",
            field="gas.fuel",
            value=repr(name),
            unit="1",
            remedy=f"Use any of {', '.join(FUELS)}, or {AIR}; or give mole fractions.",
        )
    return FUELS[name]


def air_fuel_ratio(fuel: str) -> float:
    """Mass of dry air that just burns unit mass of ``fuel``, dimensionless.

    Check
    -----
    fixtures/published/Heywood1988.toml, in tests/models/gas/test_combustion.py.
    """
    chosen = find_fuel(fuel)
    carbon, hydrogen, oxygen = _atomic_masses()
    fuel_mass = carbon + chosen.hydrogen * hydrogen + chosen.oxygen * oxygen
    air = Composition.dry_air()
    amount = chosen.oxygen_needed / air.mole_fractions[0, SPECIES.index("O2")]
    return float(amount * air.molar_mass[0] / fuel_mass)


def burnt_gas(
    fuel: str, excess_air_ratio: FloatArray | float, humidity: FloatArray | float = 0.0
) -> Composition:
    """Composition of the gas after combustion, before any water condenses.

    Parameters
    ----------
    fuel : str
        A name in ``FUELS``, or ``AIR``.
    excess_air_ratio : (designs,) array, dimensionless
        Air over the air that just burns the fuel, λ. Of no effect for ``AIR``.
    humidity : (designs,) array, dimensionless
        Water in the intake air, kg/kg of dry air.

    Returns
    -------
    Composition

    Valid for
    ---------
    ``RICHEST <= λ <= LEANEST``, humidity up to ``MOST_HUMID``; outside, ``PropertyRangeError``.

    Check
    -----
    C, H, O, N and Ar conserved; chemical equilibrium by Cantera, in
    tests/models/gas/test_combustion.py.

    Source
    ------
    Stoichiometry; for rich mixtures the water-gas equilibrium of [Heywood1988], from memory.
    """
    air = dict(zip(SPECIES, Composition.dry_air().mole_fractions[0].tolist(), strict=True))
    ratio, humid = np.broadcast_arrays(
        np.atleast_1d(np.asarray(excess_air_ratio, dtype=np.float64)),
        np.atleast_1d(np.asarray(humidity, dtype=np.float64)),
    )
    _check_humidity(humid)
    molar_masses = dict(zip(SPECIES, pure_gases().molar_mass.tolist(), strict=True))
    water_per_air = humid * float(Composition.dry_air().molar_mass[0]) / molar_masses["H2O"]
    if fuel == AIR:
        amounts = {name: np.full(ratio.shape, share) for name, share in air.items()}
        amounts["H2O"] = water_per_air
        return _normalised(amounts)
    chosen = find_fuel(fuel)
    _check_ratio(ratio)
    # Amounts a mol of fuel carbon.
    air_amount = ratio * chosen.oxygen_needed / air["O2"]
    carbon = 1 + air_amount * air["CO2"]
    hydrogen_pairs = chosen.hydrogen / 2 + air_amount * water_per_air
    oxygen = chosen.oxygen + air_amount * (2 * air["O2"] + 2 * air["CO2"] + water_per_air)
    surplus = np.maximum(ratio - 1, 0.0) * chosen.oxygen_needed
    carbon_dioxide = _carbon_dioxide(carbon, hydrogen_pairs, oxygen - 2 * surplus)
    water = oxygen - 2 * surplus - carbon - carbon_dioxide
    return _normalised(
        {
            "N2": air_amount * air["N2"],
            "Ar": air_amount * air["Ar"],
            "O2": surplus,
            "CO2": carbon_dioxide,
            "H2O": water,
            "CO": np.where(ratio < 1, carbon - carbon_dioxide, 0.0),
            "H2": np.where(ratio < 1, hydrogen_pairs - water, 0.0),
        }
    )


def humidity_from_relative(
    relative: FloatArray | float, temperature: FloatArray | float, pressure: FloatArray | float
) -> FloatArray:
    """Water in air, kg/kg of dry air, from relative humidity.

    Parameters
    ----------
    relative : array, dimensionless
        0 to 1; of saturation over water, or over ice below 273.16 K.
    temperature : array, K
    pressure : array, Pa
        Of the whole air; above the vapour's.
    """
    given = np.atleast_1d(np.asarray(relative, dtype=np.float64))
    if not np.all((given >= 0) & (given <= 1)):
        raise InputError(
            "Relative humidity lies between 0 and 1.",
            field="relative_humidity",
            value=float(given[~((given >= 0) & (given <= 1))][0]),
            unit="1",
            remedy="Give a share of saturation from 0 to 1.",
        )
    vapour = given * saturation_pressure(temperature)
    dry = np.asarray(pressure, dtype=np.float64) - vapour
    if not np.all(dry > 0):
        raise PropertyRangeError(
            "Water would boil at this pressure and temperature.",
            field="pressure",
            value=float(np.min(pressure)),
            unit="Pa",
            remedy="Give a higher pressure or a lower temperature.",
        )
    water_mass = pure_gases().molar_mass[SPECIES.index("H2O")]
    return vapour / dry * water_mass / Composition.dry_air().molar_mass


def _carbon_dioxide(
    carbon: FloatArray, hydrogen_pairs: FloatArray, oxygen: FloatArray
) -> FloatArray:
    """CO2 where C, H2 and O atoms share by the water-gas equilibrium, no O2 left over.

    With ``c`` for CO2: ``CO = C − c``, ``H2O = O − C − c``, ``H2 = H − O + C + c``; the constant
    ``K`` makes that a quadratic, whose positive root is written so that nothing cancels.
    """
    k = WATER_GAS_CONSTANT
    linear = k * (hydrogen_pairs - oxygen + carbon) + oxygen
    constant = carbon * (oxygen - carbon)
    return 2 * constant / (linear + np.sqrt(linear**2 + 4 * (k - 1) * constant))


def _normalised(amounts: dict[str, FloatArray]) -> Composition:
    size = np.zeros_like(amounts["N2"])
    stacked = np.stack([amounts.get(name, size) for name in SPECIES], axis=-1)
    return Composition(stacked / stacked.sum(axis=-1, keepdims=True))


def _check_ratio(ratio: FloatArray) -> None:
    wrong = ratio[~((ratio >= RICHEST) & (ratio <= LEANEST))]
    if wrong.size:
        raise PropertyRangeError(
            "The excess-air ratio is outside what the combustion model describes.",
            field="gas.excess_air_ratio",
            value=float(wrong[0]),
            unit="1",
            remedy=f"Give a ratio from {RICHEST:g} (rich) to {LEANEST:g} (lean), or use {AIR}.",
        )


def _check_humidity(humidity: FloatArray) -> None:
    wrong = humidity[~((humidity >= 0) & (humidity <= MOST_HUMID))]
    if wrong.size:
        raise PropertyRangeError(
            "The intake air cannot hold this much water.",
            field="gas.humidity",
            value=float(wrong[0]),
            unit="1",
            remedy=f"Give kilograms of water a kilogram of dry air, 0 to {MOST_HUMID:g}.",
        )
