"""Water vapour at saturation: when a gas gets wet."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import PropertyRangeError
from warmbranch.gas.gas import SPECIES, Composition

TRIPLE_TEMPERATURE = 273.16
"""Triple point of water, K."""

TRIPLE_PRESSURE = 611.657
"""Triple point of water, Pa. [IAPWS2011]"""

COLDEST_ICE, HOTTEST_WATER = 50.0, 647.096
"""Range of the two formulae together, K."""

WETTEST = 1 - 1e-9
"""Mole fraction beyond which vapour cannot be told from pure steam."""

_WATER = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)

_ICE = ((-0.212144006e2, 0.333333333e-2), (0.273203819e2, 1.20666667), (-0.610598130e1, 1.70333333))

_NEWTON_STEPS = 4
"""ln p is nearly a straight line in 1/T: three steps end within rounding, from 60 K up."""


def saturation_pressure(temperature: FloatArray | float) -> FloatArray:
    """Vapour pressure over water, or over ice below the triple point.

    Parameters
    ----------
    temperature : array, K

    Returns
    -------
    array, Pa

    Valid for
    ---------
    ``COLDEST_ICE`` to ``HOTTEST_WATER``; outside, ``PropertyRangeError``.

    Check
    -----
    tests/models/gas/test_saturation.py: the formulae's own check values, and CoolProp.

    Source
    ------
    Water: [IAPWS1997], region 4. Ice: [IAPWS2011]. Coefficients from
    memory, which the checks would not forgive.
    """
    given = np.atleast_1d(np.asarray(temperature, dtype=np.float64))
    wrong = given[~((given >= COLDEST_ICE) & (given <= HOTTEST_WATER))]
    if wrong.size:
        raise PropertyRangeError(
            "Water has no vapour pressure at this temperature.",
            field="temperature",
            value=float(wrong[0]),
            unit="K",
            remedy=f"Give a temperature from {COLDEST_ICE:g} to {HOTTEST_WATER:g} K.",
        )
    return _pressure(given)[0]


def saturation_temperature(pressure: FloatArray | float) -> FloatArray:
    """Temperature at which vapour of this partial pressure begins to condense, or to freeze.

    Parameters
    ----------
    pressure : array, Pa
        Partial pressure of the vapour, at most 22.064 MPa.

    Returns
    -------
    array, K
        NaN where there is no vapour.
    """
    given = np.atleast_1d(np.asarray(pressure, dtype=np.float64))
    dry = ~(given > 0)
    vapour = np.where(dry, TRIPLE_PRESSURE, given)
    over_water = _temperature_over_water(np.maximum(vapour, TRIPLE_PRESSURE))
    if np.all(vapour >= TRIPLE_PRESSURE):
        return np.where(dry, np.nan, over_water)
    over_ice = _temperature_over_ice(np.minimum(vapour, TRIPLE_PRESSURE))
    wet = np.where(vapour >= TRIPLE_PRESSURE, over_water, over_ice)
    return np.where(dry, np.nan, wet)


def dew_point(composition: Composition, pressure: FloatArray | float) -> FloatArray:
    """Temperature below which water leaves the gas: dew point, or frost point below 273.16 K.

    Parameters
    ----------
    composition : Composition
    pressure : (designs,) array, Pa
        Of the whole gas.

    Returns
    -------
    (designs,) array, K
        NaN where the gas is dry.
    """
    vapour = composition.mole_fractions[:, SPECIES.index("H2O")] * np.asarray(pressure)
    return saturation_temperature(vapour)


def vapour_content(mole_fraction: FloatArray) -> FloatArray:
    r""":math:`\varphi = -\ln(1 - y)` of vapour's mole fraction: what diffuses linearly."""
    return -np.log1p(-np.minimum(mole_fraction, WETTEST))


def saturated_content(
    temperature: FloatArray, pressure: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """φ of saturated vapour, that of steam where water would boil, and its slope, 1/K.

    Parameters
    ----------
    temperature : (designs, n) array, K
        Taken as at the ends of its range where it lies beyond.
    pressure : (designs,) array, Pa
        Of the whole gas.

    Returns
    -------
    two (designs, n) arrays
        The slope 0 where water would boil.
    """
    within = np.clip(temperature, COLDEST_ICE, HOTTEST_WATER)
    own, slope = _pressure(within)
    share = own / pressure[:, None]
    boils = share > WETTEST
    rest = 1 - np.minimum(share, WETTEST)
    return -np.log(rest), np.where(boils, 0.0, slope / pressure[:, None] / rest)


def _pressure(temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Over water or ice, Pa, and its slope, Pa/K."""
    own, slope = _over_water(np.maximum(temperature, TRIPLE_TEMPERATURE))
    is_ice = temperature < TRIPLE_TEMPERATURE
    if not np.any(is_ice):
        return own, slope
    exponent, rises = _ice_exponent(np.minimum(temperature, TRIPLE_TEMPERATURE))
    over_ice = np.exp(exponent) * TRIPLE_PRESSURE
    ice_slope = over_ice * rises / TRIPLE_TEMPERATURE
    return np.where(is_ice, over_ice, own), np.where(is_ice, ice_slope, slope)


def _over_water(temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Pressure, Pa, and its slope, Pa/K."""
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _WATER
    off = 1 / (temperature - n10)
    theta, by_theta = temperature + n9 * off, 1 - n9 * off * off
    a = theta**2 + n1 * theta + n2
    b = n3 * theta**2 + n4 * theta + n5
    c = n6 * theta**2 + n7 * theta + n8
    a_slope, b_slope, c_slope = 2 * theta + n1, 2 * n3 * theta + n4, 2 * n6 * theta + n7
    root = np.sqrt(b**2 - 4 * a * c)
    root_slope = (b * b_slope - 2 * (a * c_slope + a_slope * c)) / root
    under = root - b
    quarter = 2 * c / under
    quarter_slope = (2 * c_slope - quarter * (root_slope - b_slope)) / under
    return quarter**4 * 1e6, 4e6 * quarter**3 * quarter_slope * by_theta


def _temperature_over_water(pressure: FloatArray) -> FloatArray:
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _WATER
    beta = (pressure / 1e6) ** 0.25
    e = beta**2 + n3 * beta + n6
    f = n1 * beta**2 + n4 * beta + n7
    g = n2 * beta**2 + n5 * beta + n8
    d = 2 * g / (-f - np.sqrt(f**2 - 4 * e * g))
    return (n10 + d - np.sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2


def _ice_exponent(temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
    """``ln(p/p_t)`` over ice and its derivative with respect to ``θ = T/T_t``."""
    theta = temperature / TRIPLE_TEMPERATURE
    value = sum((a * theta ** (b - 1) for a, b in _ICE), np.zeros_like(theta))
    slope = sum((a * (b - 1) * theta ** (b - 2) for a, b in _ICE), np.zeros_like(theta))
    return value, slope


def _temperature_over_ice(pressure: FloatArray) -> FloatArray:
    wanted = np.log(pressure / TRIPLE_PRESSURE)
    # Start from a constant heat of sublimation; Newton in 1/θ, where the curve is nearly straight.
    inverse = 1 - wanted / 22.5
    for _ in range(_NEWTON_STEPS):
        value, slope = _ice_exponent(TRIPLE_TEMPERATURE / inverse)
        inverse = inverse + (value - wanted) / slope * inverse**2
    return TRIPLE_TEMPERATURE / inverse
