"""Strings with units, by factors that do not come from pint."""

from __future__ import annotations

import math
import re
from importlib.resources import files

import pytest
from pydantic_core import PydanticCustomError

from warmbranch_service.contract import strict_json, units
from warmbranch_service.contract.errors import Problem
from warmbranch_service.contract.fields import Quantity
from warmbranch_service.contract.units import (
    DIMENSIONS,
    SUFFIXES,
    NoQuantityError,
    UnknownUnitError,
    parse,
    unit_of,
)
from warmbranch_service.contract.written_lengths import GAUGE_IN

# Exact by definition: inch 25.4 mm, pound 0.45359237 kg, mile 1609.344 m, knot 1852 m/h, standard
# atmosphere 101325 Pa, pound-force 4.4482216152605 N, BTU (International Table) 1055.05585262 J.
# Conventional mercury: 133.322387415 Pa a millimetre (ISO 31, 13595.1 kg/m³ and standard gravity).
INCH, POUND, MILE, BTU = 25.4, 0.45359237, 1609.344, 1055.05585262
PSI = 4.4482216152605 / 0.0254**2
MERCURY = 133.322387415

EXPECTED = {
    "a length": (
        "mm",
        {"mm": 1, "cm": 10, "m": 1000, "in": INCH, "inch": INCH, "inches": INCH, '"': INCH,
         "ft": 12 * INCH, "feet": 12 * INCH, "foot": 12 * INCH, "'": 12 * INCH},
    ),
    "a pressure": (
        "kPa",
        {"kPa": 1, "Pa": 1e-3, "hPa": 0.1, "mbar": 0.1, "bar": 100, "atm": 101.325,
         "psi": PSI / 1e3, "inHg": MERCURY * 25.4 / 1e3, "mmHg": MERCURY / 1e3},
    ),
    "a speed": (
        "m/s",
        {"m/s": 1, "km/h": 1 / 3.6, "kph": 1 / 3.6, "mph": MILE / 3600, "ft/s": 0.3048,
         "kn": 1852 / 3600},
    ),
    "a mass flow": (
        "kg/h",
        {"kg/h": 1, "kg/s": 3600, "g/s": 3.6, "lb/h": POUND, "lb/min": 60 * POUND},
    ),
    "an engine speed": ("rpm", {"rpm": 1, "rev/min": 1, "rev/s": 60}),
    "a frequency": ("Hz", {"Hz": 1, "kHz": 1000}),
    "an angle": ("deg", {"deg": 1, "°": 1, "rad": 180 / math.pi}),
    "a volume": (
        "L",
        {"L": 1, "l": 1, "litre": 1, "cc": 1e-3, "cm3": 1e-3, "cm³": 1e-3, "ci": 0.254**3,
         "in3": 0.254**3, "in³": 0.254**3},
    ),
    "a thermal conductivity": (
        "W/mK",
        {"W/mK": 1, "W/(m K)": 1, "W/m/K": 1, "BTU/(h ft F)": BTU / 3600 / 0.3048 * 1.8},
    ),
    "a density": (
        "kg/m3",
        {"kg/m3": 1, "kg/m³": 1, "g/cm3": 1000, "g/cm³": 1000, "lb/ft3": POUND / 0.3048**3,
         "lb/in3": POUND / 0.0254**3},
    ),
    "a heat capacity": (
        "J/kgK",
        {"J/kgK": 1, "J/(kg K)": 1, "kJ/kgK": 1000, "kJ/(kg K)": 1000,
         "BTU/(lb F)": BTU / POUND * 1.8},
    ),
    "a film coefficient": (
        "W/m2K",
        {"W/m2K": 1, "W/(m2 K)": 1, "W/(m² K)": 1,
         "BTU/(h ft2 F)": BTU / 3600 / 0.3048**2 * 1.8},
    ),
    "a diffusivity": ("m2/s", {"m2/s": 1, "m²/s": 1, "cm2/s": 1e-4, "mm2/s": 1e-6}),
    "a time": ("s", {"s": 1, "min": 60, "h": 3600}),
    "a percentage": ("%", {"%": 1, "percent": 1}),
}  # fmt: skip

FACTORS = [
    (dimension, target, unit, factor)
    for dimension in DIMENSIONS
    if dimension.name in EXPECTED
    for target, factors in [EXPECTED[dimension.name]]
    for unit, factor in factors.items()
]


@pytest.mark.parametrize(
    ("dimension", "target", "unit", "factor"),
    FACTORS,
    ids=lambda v: v if isinstance(v, str) else "",
)
def test_every_unit_has_its_factor(dimension, target, unit, factor):
    # Twelve digits are kept by parse; pint's table rounds mercury to nine.
    assert parse(f"7.25 {unit}", dimension, target) == pytest.approx(7.25 * factor, rel=1e-7)


def test_every_unit_was_tried():
    for dimension in DIMENSIONS:
        if dimension is units.TEMPERATURE:
            continue
        assert set(EXPECTED[dimension.name][1]) == set(dimension.units)


# Exact by definition of the scales.
@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("300 F", (300 - 32) / 1.8),
        ("300 degF", (300 - 32) / 1.8),
        ("-40 °F", -40.0),
        ("212F", 100.0),
        ("310 C", 310.0),
        ("310 degC", 310.0),
        ("310 °C", 310.0),
        ("273.15 K", 0.0),
        ("0 K", -273.15),
    ],
)
def test_temperatures_have_an_offset(text, celsius):
    assert parse(text, units.TEMPERATURE, "degC") == pytest.approx(celsius, rel=1e-11, abs=1e-10)


def test_every_temperature_unit_was_tried():
    assert set(units.TEMPERATURE.units) == {"degC", "°C", "C", "degF", "°F", "F", "K"}


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2.25 in", 57.15),
        ("2.25in", 57.15),
        ('2.25"', 57.15),
        ("  2.25   in  ", 57.15),
        ("+2.25 IN", 57.15),
        (".5 in", 12.7),
        ("5. mm", 5.0),
        ("1e2 mm", 100.0),
        ("-3 mm", -3.0),
        ("48,3 mm", 48.3),
        ("0,065 in", 1.651),
        ("1 7/8 in", 1.875 * INCH),
        ("1-7/8 in", 1.875 * INCH),
        ('2 1/2"', 2.5 * INCH),
        ("1/16 in", INCH / 16),
        ("1/2 ft", 6 * INCH),
        ("1/2 mm", 0.5),
        ("3' 4\"", 40 * INCH),
        ("3' 4", 40 * INCH),
        ("3'4 1/2\"", 40.5 * INCH),
        ("3 ft 4 in", 40 * INCH),
        ("3 feet", 36 * INCH),
        ("3'", 36 * INCH),
        ("1,5 ft", 18 * INCH),
        ("16 ga", 0.065 * INCH),
        ("16ga", 0.065 * INCH),
        ("11 Gauge", 0.120 * INCH),
        ("18 BWG", 0.049 * INCH),
    ],
)
def test_spellings_of_a_length(text, value):
    assert parse(text, units.LENGTH, "mm") == pytest.approx(value, rel=1e-11)


@pytest.mark.parametrize(
    "text",
    ["", " ", "mm", "48.3", "48,3", "1,234 mm", "2 1/0 in", "1 2 in", "16", "23 ga", "7 ga",
     "16.5 ga", "3' 4 mm", "1 7/8", "1e1000 mm", "--3 mm", "٣ mm", "0x10 mm", "1 mm;",
     "1 mm\n1 mm", "nan mm", "inf mm", "1" * 65 + " mm", "1" * 16 + " mm", "2**9 mm", "(1) mm"],
)  # fmt: skip
def test_what_is_no_length(text):
    with pytest.raises((NoQuantityError, UnknownUnitError)):
        parse(text, units.LENGTH, "mm")


def test_pint_only_sees_the_names_in_the_list(monkeypatch):
    def forbidden():
        raise AssertionError("the registry was asked")

    monkeypatch.setattr(units, "_registry", forbidden)
    with pytest.raises(UnknownUnitError, match="meter"):
        parse("3 meter", units.LENGTH, "mm")
    with pytest.raises(UnknownUnitError):
        parse("3 mm**2", units.LENGTH, "mm")
    assert parse("3 mm", units.LENGTH, "mm") == 3


@pytest.mark.parametrize(
    ("field", "unit"),
    [
        ("outside_diameter_mm", "mm"),
        ("air_speed_m_s", "m/s"),
        ("diffusivity_m2_s", "m2/s"),
        ("coefficient_W_m2K", "W/m2K"),
        ("conductivity_W_mK", "W/mK"),
        ("mass_flow_kg_h", "kg/h"),
        ("density_kg_m3", "kg/m3"),
        ("time_s", "s"),
        ("quiet_rpm", "rpm"),
        ("rpm", "rpm"),
        ("rpm_from", "rpm"),
        ("emissivity", None),
        ("reach_bores", None),
    ],
)
def test_a_field_s_name_ends_in_its_unit(field, unit):
    assert unit_of(field) == unit


def test_suffixes_have_units():
    assert len(set(SUFFIXES.values())) == len(SUFFIXES)


def test_a_decimal_comma_goes_with_every_unit():
    assert parse("310,5 C", units.TEMPERATURE, "degC") == 310.5
    assert parse("60,5 mph", units.SPEED, "m/s") == pytest.approx(60.5 * MILE / 3600, rel=1e-11)


def test_the_page_and_the_service_have_one_table_of_gauges():
    page = files("warmbranch_service").joinpath("page/typed_lengths.js").read_text("utf-8")
    table = re.search(r"const GAUGE = \{([^}]*)\}", page)
    assert table
    told = dict(pair.split(":") for pair in table[1].replace(" ", "").split(","))
    assert {int(gauge): float(wall) for gauge, wall in told.items()} == GAUGE_IN


@pytest.mark.parametrize(
    ("text", "detail", "remedy"),
    [
        ("48,3", "has no unit", 'Write 48.3 without quotes, or "48.3 mm" with its unit.'),
        ("48.3", "has no unit", 'Write 48.3 without quotes, or "48.3 mm" with its unit.'),
        ("1,234 mm", "two things", "Is that 1.234 or 1234?"),
        ("thick", "not a number and a unit", 'as in "1 7/8 in" or "16 ga"'),
        ("48.3 in", "1226.82 mm, lies outside", 'Did you mean "48.3 mm"?'),
        ("60,3 ft", "lies outside", 'Did you mean "60.3 mm"?'),
        (1.9, "1.9 mm lies outside", 'Did you mean "1.9 in", 48.26 mm?'),
    ],
)
def test_refusals_name_the_remedy(text, detail, remedy):
    with pytest.raises(PydanticCustomError) as caught:
        Quantity("mm", units.LENGTH, low=15, high=150).check(text)
    context = caught.value.context
    assert context is not None
    assert detail in context["detail"]
    assert remedy in context["remedy"]


def test_a_decimal_comma_in_json_is_asked_about():
    with pytest.raises(Problem, match="A decimal comma"):
        strict_json.parse(b'{"outside_diameter_mm": 48,3, "length_mm": 1200}')
    with pytest.raises(Problem) as caught:
        strict_json.parse(b'{"a": [1, 2}')
    assert "comma?" not in caught.value.parts.detail
