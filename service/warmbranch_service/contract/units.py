"""Units that a request may use, by dimension, and the one way from a string to a number.

A string is ``number unit``, or a length as in written_lengths.py: the number is read by a fixed
pattern and the unit is looked up in a list, so that pint only ever sees names written in this file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, cast

from warmbranch_service.contract import written_lengths

if TYPE_CHECKING:
    import pint

# Written so that every dialect of regular expressions reads it alike: no \d, which may mean digits
# of other scripts, no \s, which may mean other spaces.
# A comma is a decimal one, but for three digits behind it, which may be thousands: 1,234.
_COMMA = "0,[0-9]{1,15}|[0-9]{1,15},(?:[0-9]{1,2}|[0-9]{4,15})"
NUMBER_PATTERN = (
    rf"[+-]?(?:{_COMMA}|[0-9]{{1,15}}(?:\.[0-9]{{0,15}})?|\.[0-9]{{1,15}})"
    r"(?:[eE][+-]?[0-9]{1,3})?"
)
_STRING = re.compile(rf" *({NUMBER_PATTERN}) *([^0-9 .,].{{0,23}}?)? *")
LONGEST_STRING = 64


@dataclass(frozen=True, eq=False)  # annotations are compared by identity
class Dimension:
    """One dimension and the spellings of its units.

    Parameters
    ----------
    name : str
        As it reads after "not": "a length".
    units : mapping of str to str
        Accepted spelling to pint's own name.
    """

    name: str
    units: Mapping[str, str]


LENGTH = Dimension(
    "a length",
    {
        "mm": "millimeter",
        "cm": "centimeter",
        "m": "meter",
        "in": "inch",
        "inch": "inch",
        "inches": "inch",
        '"': "inch",
        "ft": "foot",
        "feet": "foot",
        "foot": "foot",
        "'": "foot",
    },
)
TEMPERATURE = Dimension(
    "a temperature",
    {
        "degC": "degree_Celsius",
        "°C": "degree_Celsius",
        "C": "degree_Celsius",
        "degF": "degree_Fahrenheit",
        "°F": "degree_Fahrenheit",
        "F": "degree_Fahrenheit",
        "K": "kelvin",
    },
)

TEMPERATURE_DIFFERENCE = Dimension(
    "a temperature difference",
    {"K": "kelvin", "degC": "delta_degree_Celsius", "F": "delta_degree_Fahrenheit"},
)
"""20 F of difference are 11.1 K, and 20 °F of temperature are not."""
PRESSURE = Dimension(
    "a pressure",
    {
        "kPa": "kilopascal",
        "Pa": "pascal",
        "hPa": "hectopascal",
        "mbar": "millibar",
        "bar": "bar",
        "atm": "standard_atmosphere",
        "psi": "pound_force_per_square_inch",
        "inHg": "inch_Hg",
        "mmHg": "millimeter_Hg",
    },
)
SPEED = Dimension(
    "a speed",
    {
        "m/s": "meter / second",
        "km/h": "kilometer / hour",
        "kph": "kilometer / hour",
        "mph": "mile / hour",
        "ft/s": "foot / second",
        "kn": "knot",
    },
)
MASS_FLOW = Dimension(
    "a mass flow",
    {
        "kg/h": "kilogram / hour",
        "kg/s": "kilogram / second",
        "g/s": "gram / second",
        "lb/h": "pound / hour",
        "lb/min": "pound / minute",
    },
)
ROTATION = Dimension(
    "an engine speed",
    {
        "rpm": "revolution / minute",
        "rev/min": "revolution / minute",
        "rev/s": "revolution / second",
    },
)
FREQUENCY = Dimension("a frequency", {"Hz": "hertz", "kHz": "kilohertz"})
ANGLE = Dimension("an angle", {"deg": "degree", "°": "degree", "rad": "radian"})
VOLUME = Dimension(
    "a volume",
    {
        "L": "liter",
        "l": "liter",
        "litre": "liter",
        "cc": "centimeter ** 3",
        "cm3": "centimeter ** 3",
        "cm³": "centimeter ** 3",
        "ci": "inch ** 3",
        "in3": "inch ** 3",
        "in³": "inch ** 3",
    },
)
CONDUCTIVITY = Dimension(
    "a thermal conductivity",
    {
        "W/mK": "watt / meter / kelvin",
        "W/(m K)": "watt / meter / kelvin",
        "W/m/K": "watt / meter / kelvin",
        "BTU/(h ft F)": "Btu_it / hour / foot / delta_degree_Fahrenheit",
    },
)
DENSITY = Dimension(
    "a density",
    {
        "kg/m3": "kilogram / meter ** 3",
        "kg/m³": "kilogram / meter ** 3",
        "g/cm3": "gram / centimeter ** 3",
        "g/cm³": "gram / centimeter ** 3",
        "lb/ft3": "pound / foot ** 3",
        "lb/in3": "pound / inch ** 3",
    },
)
HEAT_CAPACITY = Dimension(
    "a heat capacity",
    {
        "J/kgK": "joule / kilogram / kelvin",
        "J/(kg K)": "joule / kilogram / kelvin",
        "kJ/kgK": "kilojoule / kilogram / kelvin",
        "kJ/(kg K)": "kilojoule / kilogram / kelvin",
        "BTU/(lb F)": "Btu_it / pound / delta_degree_Fahrenheit",
    },
)
FILM_COEFFICIENT = Dimension(
    "a film coefficient",
    {
        "W/m2K": "watt / meter ** 2 / kelvin",
        "W/(m2 K)": "watt / meter ** 2 / kelvin",
        "W/(m² K)": "watt / meter ** 2 / kelvin",
        "BTU/(h ft2 F)": "Btu_it / hour / foot ** 2 / delta_degree_Fahrenheit",
    },
)
DIFFUSIVITY = Dimension(
    "a diffusivity",
    {
        "m2/s": "meter ** 2 / second",
        "m²/s": "meter ** 2 / second",
        "cm2/s": "centimeter ** 2 / second",
        "mm2/s": "millimeter ** 2 / second",
    },
)
TIME = Dimension("a time", {"s": "second", "min": "minute", "h": "hour"})
PERCENTAGE = Dimension("a percentage", {"%": "percent", "percent": "percent"})
PURE_NUMBER = Dimension("a number", {})

DIMENSIONS = (
    LENGTH,
    TEMPERATURE,
    PRESSURE,
    SPEED,
    MASS_FLOW,
    ROTATION,
    FREQUENCY,
    ANGLE,
    VOLUME,
    CONDUCTIVITY,
    DENSITY,
    HEAT_CAPACITY,
    FILM_COEFFICIENT,
    DIFFUSIVITY,
    TIME,
    PERCENTAGE,
)

SUFFIXES = {
    "_mm": "mm",
    "_m": "m",
    "_degC": "degC",
    "_K": "K",
    "_Pa": "Pa",
    "_kPa": "kPa",
    "_Hz": "Hz",
    "_rpm": "rpm",
    "_m_s": "m/s",
    "_m2_s": "m2/s",
    "_kg": "kg",
    "_kg_h": "kg/h",
    "_g_h": "g/h",
    "_mm_h": "mm/h",
    "_kg_m3": "kg/m3",
    "_J_kgK": "J/kgK",
    "_W_m2K": "W/m2K",
    "_W_mK": "W/mK",
    "_deg": "deg",
    "_s": "s",
    "_min": "min",
    "_dB": "dB",
    "_dBA": "dB(A)",
    "_W": "W",
    "_kJ": "kJ",
    "_L": "L",
    "rpm_per_mm": "rpm/mm",
    "Hz_per_mm": "Hz/mm",
    "_percent": "%",
    "_percent_s": "%/s",
}
"""Ending of a field's name to its unit: the contract's whole rule about units."""

IN_WORDS = {
    "minutes_since_start": "min",
    "within_1_percent_s": "s",
    "within_0_3_percent_s": "s",
}
"""Whole names whose unit their last letters do not tell."""


def unit_of(field: str) -> str | None:
    """Unit that a field's name ends in, or None; the longest ending wins.

    >>> unit_of("air_speed_m_s"), unit_of("rpm_from"), unit_of("quiet_rpm_interval_90")
    ('m/s', 'rpm', 'rpm')
    >>> unit_of("emissivity")
    """
    if field in IN_WORDS:
        return IN_WORDS[field]
    field = re.sub(r"_(from|to|interval_\d+)$", "", field)
    for suffix in sorted(SUFFIXES, key=len, reverse=True):
        if field.endswith(suffix) or field == suffix[1:]:
            return SUFFIXES[suffix]
    return None


class NoQuantityError(ValueError):
    """A string that is not ``number unit``."""


class UnknownUnitError(ValueError):
    """A unit that the dimension does not list."""


def parse(text: str, dimension: Dimension, target: str) -> float:
    """Value of a string such as ``"2.25 in"`` in ``target``, a unit of ``dimension``.

    Raises
    ------
    NoQuantityError
        If the string is no number followed by a unit.
    UnknownUnitError
        If the unit is not one of the dimension's.
    """
    if len(text) > LONGEST_STRING:
        raise NoQuantityError(text)
    written = written_lengths.inches(text) if dimension is LENGTH else None
    found = _STRING.fullmatch(text) if written is None else None
    if written is not None:
        return _in(written, "inch", dimension.units[target])
    if found is None or found[2] is None:
        raise NoQuantityError(text)
    unit = dimension.units.get(found[2]) or dimension.units.get(found[2].lower())
    if unit is None:
        raise UnknownUnitError(found[2])
    return _in(float(found[1].replace(",", ".")), unit, dimension.units[target])


def _in(value: float, unit: str, target: str) -> float:
    if unit == target:
        return value
    factor, offset = _conversion(unit, target)
    converted = value * factor + offset
    # Twelve digits: a bound given in another unit must not miss by the last bit.
    return float(f"{converted:.12g}")


@cache
def _conversion(unit: str, target: str) -> tuple[float, float]:
    """Factor and offset from a unit to another, by pint; every unit here is linear in every other.

    pint takes a tenth of a millisecond a value, and there may be 100,000 of them. The factor of a
    temperature is that of a difference, lest it lose the digits that the offset takes.
    """
    quantity = _registry().Quantity
    offset = float(quantity(0.0, unit).to(target).magnitude)
    if offset:
        unit, target = (f"delta_{name}" if "degree" in name else name for name in (unit, target))
    return float(quantity(1.0, unit).to(target).magnitude), offset


def load() -> None:
    """Load the unit registry now (0.4 s) instead of with the first string."""
    _registry()


@cache
def _registry() -> Any:
    import pint  # late: half a second that a request of plain numbers never needs

    return cast("pint.UnitRegistry[float]", pint.UnitRegistry())
