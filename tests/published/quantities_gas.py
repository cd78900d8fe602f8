"""Calculators for gas, combustion and saturation."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np

from warmbranch.base.constants import ICE_POINT
from warmbranch.gas.combustion import air_fuel_ratio, burnt_gas, humidity_from_relative
from warmbranch.gas.gas import SPECIES, Composition, MixtureTable, wilke_factors
from warmbranch.gas.saturation import saturation_pressure, saturation_temperature

WORKED_MIXTURE = (
    Path(__file__).parents[2] / "fixtures" / "published" / "BirdStewartLightfoot2002.toml"
)


def composition(name):
    assert name == "dry air"
    return Composition.dry_air()


def speed_of_sound(*, gas, temperature_degC):
    temperature = np.array([[temperature_degC + ICE_POINT]])
    return MixtureTable.of(composition(gas)).sound_speed(temperature)[0, 0]


def density(*, gas, temperature_degC, pressure_Pa):
    temperature = np.array([[temperature_degC + ICE_POINT]])
    return MixtureTable.of(composition(gas)).density(temperature, np.array([pressure_Pa]))[0, 0]


def combination_factor_sums(*, mole_fractions, molar_mass_g_mol, viscosity):
    factors = wilke_factors(np.array(viscosity), np.array(molar_mass_g_mol))
    return factors @ np.array(mole_fractions)


def mixture_viscosity(**inputs):
    viscosity = inputs.pop("viscosity_1e-7_g_cm_s")  # no name for a Python argument
    sums = combination_factor_sums(viscosity=viscosity, **inputs)
    return np.sum(np.array(inputs["mole_fractions"]) * np.array(viscosity) / sums)


def combination_factor_sum(*, species):
    """The mixture is that of the same example's viscosity."""
    blocks = tomllib.loads(WORKED_MIXTURE.read_text("utf-8"))["value"]
    inputs = next(block["inputs"] for block in blocks if block["quantity"] == "mixture viscosity")
    viscosity = inputs.pop("viscosity_1e-7_g_cm_s")
    return combination_factor_sums(viscosity=viscosity, **inputs)[species]


def water_gas_constant(*, temperature_K):
    """As it comes out of a rich mixture; our burnt gas is frozen at one temperature."""
    assert temperature_K == 1740.0
    share = dict(zip(SPECIES, burnt_gas("petrol", 0.9).mole_fractions[0], strict=True))
    return share["CO"] * share["H2O"] / (share["CO2"] * share["H2"])


def humidity(*, relative_humidity, temperature_degC, pressure_Pa):
    """In g/kg."""
    return 1000 * humidity_from_relative(
        relative_humidity, temperature_degC + ICE_POINT, pressure_Pa
    )


CALCULATORS = {
    "speed of sound": speed_of_sound,
    "density": density,
    "molar mass": lambda *, gas: 1000 * composition(gas).molar_mass[0],
    "mixture viscosity": mixture_viscosity,
    "combination factor sum": combination_factor_sum,
    "air-fuel ratio": lambda *, fuel: air_fuel_ratio(fuel),
    "water-gas constant": water_gas_constant,
    "humidity": lambda **inputs: humidity(**inputs)[0],
    "saturation pressure": lambda *, temperature_K: np.ravel(saturation_pressure(temperature_K))[0],
    "saturation temperature": lambda *, pressure_Pa: np.ravel(saturation_temperature(pressure_Pa))[
        0
    ],
}
