r"""Radiation of hot gas: total emissivity of carbon dioxide and water, and what it exchanges.

Leckner's fit to integrated band spectra, with his corrections for pressure and for bands that
overlap, on a mean beam length of a long tube.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import RADIATION_TERMS

BEAM_LENGTH = 0.95
"""Mean beam length of a long cylinder over its diameter: Hottel, for paths of usual thickness."""

WALL_EMISSIVITY = 0.8
"""Of a bore that exhaust has darkened. Our judgement, no source."""

WALL_FACTOR = (1 + WALL_EMISSIVITY) / 2
"""What a grey wall leaves of the exchange with a black one: Hottel, for 0.7 and more."""

COLDEST, HOTTEST = 280.0, 1300.0
"""K, between which the exchange is fitted. Leckner's fit is for 400 K and more; below it is
extrapolated, where little is radiated."""


class _Absorber(NamedTuple):
    """Coefficients of one gas: rows for powers of log10(pL), columns for those of T/1000 K."""

    emissivity: FloatArray
    wall_power: float


_WATER = _Absorber(
    np.array(
        [
            [-2.2118, -1.1987, 0.035596],
            [0.85667, 0.93048, -0.14391],
            [-0.10838, -0.17156, 0.045915],
        ]
    ),
    0.45,
)
_CARBON_DIOXIDE = _Absorber(
    np.array(
        [
            [-3.9893, 2.7669, -2.1081, 0.39163],
            [1.2710, -1.1090, 1.0195, -0.21897],
            [-0.23678, 0.19731, -0.19544, 0.044644],
        ]
    ),
    0.65,
)


def total_emissivity(
    temperature: FloatArray, water_bar: FloatArray, carbon_dioxide_bar: FloatArray,
    pressure_bar: FloatArray, path_cm: FloatArray,
) -> FloatArray:  # fmt: skip
    r"""Total emissivity of a mixture with CO2 and H2O.

    .. math:: \varepsilon_0 = \exp \sum_{ij} c_{ij} (T/1000)^j \lg^i(p_a L)

    Parameters
    ----------
    temperature : array, K
    water_bar, carbon_dioxide_bar, pressure_bar : array, bar
        Partial pressures and the whole; they broadcast against ``temperature``.
    path_cm : array, cm
        Mean beam length.

    Returns
    -------
    array, dimensionless

    Valid for
    ---------
    400 to 2500 K; some 5 % for water and 10 % for carbon dioxide, beyond p L of 1e-3 bar cm.
    Below 400 K it is extrapolated.

    Check
    -----
    A textbook's furnace by Hottel's charts, from memory (fixtures/published/Cengel2007.toml), and
    a sum of grey gases, in tests/models/gas/test_emissivity.py.

    Source
    ------
    B. Leckner, Combustion and Flame 19 (1972) 33, as M. F. Modest, Radiative Heat Transfer, prints
    it; coefficients from memory, found alike in a public program that cites Modest.
    """
    water, carbon_dioxide = _both(temperature, water_bar, carbon_dioxide_bar, pressure_bar, path_cm)
    return water + carbon_dioxide - _overlap(water_bar, carbon_dioxide_bar, path_cm)


def _both(
    temperature: FloatArray, water_bar: FloatArray, carbon_dioxide_bar: FloatArray,
    pressure_bar: FloatArray, path_cm: FloatArray,
) -> tuple[FloatArray, FloatArray]:  # fmt: skip
    t = temperature / 1000
    water_a = np.where(t > 0.75, 1.888 - 2.053 * np.log10(t), 2.144)
    water = _one(
        _WATER, t, water_bar * path_cm, pressure_bar + 2.56 * water_bar / np.sqrt(t),
        (water_a, 1.10 / t**1.4, 0.5, 13.2 * t**2),
    )  # fmt: skip
    carbon_dioxide = _one(
        _CARBON_DIOXIDE, t, carbon_dioxide_bar * path_cm, pressure_bar + 0.28 * carbon_dioxide_bar,
        (1 + 0.1 / t**1.45, 0.23, 1.47, np.where(t < 0.7, 0.054 / t**2, 0.225 * t**2)),
    )  # fmt: skip
    return water, carbon_dioxide


def _one(
    gas: _Absorber, t: FloatArray, path: FloatArray, effective_bar: FloatArray,
    shape: tuple[FloatArray, FloatArray | float, float, FloatArray],
) -> FloatArray:  # fmt: skip
    """Of one gas at a path of so many bar cm; ``shape`` is (a, b, c, path of the most)."""
    there = np.maximum(path, 1e-12)  # of which it is nothing that a double tells
    x = np.log10(there)
    rows = [_polynomial(t, row) for row in gas.emissivity]
    plain = np.exp(rows[0] + x * (rows[1] + x * rows[2]))
    a, b, c, most = shape
    correction = (a - 1) * (1 - effective_bar) / (a + b - 1 + effective_bar)
    correction = correction * np.exp(-c * np.square(np.log10(most / there)))
    return np.where(path > 0, plain * (1 - correction), 0.0)


def _polynomial(t: FloatArray, coefficients: FloatArray) -> FloatArray:
    """Of rising powers."""
    found = np.zeros_like(t)
    for own in coefficients[::-1]:
        found = found * t + own
    return found


def _overlap(water_bar: FloatArray, carbon_dioxide_bar: FloatArray, path: FloatArray) -> FloatArray:
    both = water_bar + carbon_dioxide_bar
    share = np.where(both > 0, water_bar / np.where(both > 0, both, 1.0), 0.0)
    # A path below 1 bar cm has no overlap: its logarithm is below 0.
    x = np.maximum(np.log10(np.maximum(both * path, 1e-12)), 0.0)
    return (share / (10.7 + 101 * share) - 0.0089 * share**10.4) * x**2.76


def exchange_coefficients(
    water: FloatArray, carbon_dioxide: FloatArray, pressure: FloatArray, bore: FloatArray
) -> FloatArray:
    r"""Coefficients r of the exchange of a gas with the bore's wall, each as warm as it is there.

    .. math:: q = \sigma \int_{T_w}^{T_g} T^3 \sum_k r_k (T/1000)^k \, dT

    the sum being ``F (4 + a + b − c) ε(T)``: what gas and wall exchange per difference of their
    temperatures where that is small, over σ T³, with a and b the slopes of ln ε with ln(p L) and
    ln T, c the power of (T_g/T_w) in the gas's absorptivity, and F for the wall.

    Parameters
    ----------
    water, carbon_dioxide : (designs,) array, dimensionless
        Mole fractions.
    pressure : (designs,) array, Pa
    bore : (designs,) array, m

    Returns
    -------
    (designs, RADIATION_TERMS) array, dimensionless
        0 for a gas that holds neither.

    Valid for
    ---------
    Gas and wall between ``COLDEST`` and ``HOTTEST``; radiation along the tube is left out. Against
    Hottel's own net exchange, with emissivity at the gas's and absorptivity at the wall's
    temperature, within 1 % for walls from half the gas's temperature on, as a test measures.

    Source
    ------
    The factor (4 + a + b − c): H. C. Hottel, A. F. Sarofim, Radiative Transfer (1967), from memory;
    it follows from the absorptivity by differentiation.
    """
    rows = np.stack([water, carbon_dioxide, pressure, bore], axis=1)
    if np.all(rows == rows[0]):
        return np.broadcast_to(_known(*rows[0].tolist()), (len(rows), RADIATION_TERMS))
    return _fitted(rows)


@lru_cache(maxsize=256)
def _known(water: float, carbon_dioxide: float, pressure: float, bore: float) -> FloatArray:
    return _fitted(np.array([[water, carbon_dioxide, pressure, bore]]))[0]


def _fitted(rows: FloatArray) -> FloatArray:
    """By a polynomial of T through Chebyshev points."""
    count = RADIATION_TERMS
    points = np.cos(np.pi * (np.arange(count) + 0.5) / count)
    t = (COLDEST + HOTTEST) / 2 + (HOTTEST - COLDEST) / 2 * points
    values = small_exchange(t, *(column[:, None] for column in rows.T))
    inverse = np.linalg.inv(np.vander(t / 1000, count, increasing=True))
    # Row by row the same sum, whoever stands beside it: a library's product would add otherwise.
    return (values[:, None, :] * inverse).sum(axis=2)


def small_exchange(
    t: FloatArray, water: FloatArray, carbon_dioxide: FloatArray, pressure: FloatArray,
    bore: FloatArray,
) -> FloatArray:  # fmt: skip
    """``F (4 + a + b − c) ε`` at temperatures, K; arguments of :func:`exchange_coefficients`."""
    bar, path = pressure / 1e5, BEAM_LENGTH * 100 * bore
    step = 1e-4

    def of(warmer: float, longer: float) -> FloatArray:
        return total_emissivity(
            t * np.exp(warmer), water * bar, carbon_dioxide * bar, bar, path * np.exp(longer)
        )

    by_temperature = (of(step, 0.0) - of(-step, 0.0)) / (2 * step)
    by_path = (of(0.0, step) - of(0.0, -step)) / (2 * step)
    w, d = _both(t, water * bar, carbon_dioxide * bar, bar, path)
    power = _WATER.wall_power * w + _CARBON_DIOXIDE.wall_power * d
    return WALL_FACTOR * (4 * of(0.0, 0.0) + by_path + by_temperature - power)


def absorptivity(
    gas: FloatArray, wall: FloatArray, water_bar: FloatArray, carbon_dioxide_bar: FloatArray,
    pressure_bar: FloatArray, path_cm: FloatArray,
) -> FloatArray:  # fmt: skip
    """Of a gas for what a black wall sends; see Hottel and Sarofim, or Modest."""
    shorter = path_cm * wall / gas
    w, d = _both(wall, water_bar, carbon_dioxide_bar, pressure_bar, shorter)
    ratio = gas / wall
    return (
        ratio**_WATER.wall_power * w
        + ratio**_CARBON_DIOXIDE.wall_power * d
        - _overlap(water_bar, carbon_dioxide_bar, shorter)
    )
