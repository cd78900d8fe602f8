"""Metals: conductivity, density and heat capacity against temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import cast

import numpy as np

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.base.errors import InputError

Points = tuple[tuple[float, float], ...]
"""Handbook values: (temperature in K, value)."""

_SCALE = 1000.0
"""Temperatures are fitted in units of 1000 K, for a well-conditioned fit."""


@dataclass(frozen=True)
class Metal(Batched):
    """The tube's metal, as quadratics in the absolute temperature.

    Parameters
    ----------
    conductivity_coefficients : (designs, 3) array
        ``a0, a1, a2`` of ``a0 + a1 T + a2 T²``, W/(m K) with T in K.
    density : (designs,) array, kg/m³
    heat_capacity_coefficients : (designs, 3) array
        The same for J/(kg K).
    limit_temperature : (designs,) array, K
        Usual limit of long service in air; NaN if not known.
    """

    conductivity_coefficients: FloatArray
    density: FloatArray
    heat_capacity_coefficients: FloatArray
    limit_temperature: FloatArray

    @classmethod
    def constant(
        cls,
        conductivity: float | FloatArray,
        density: float | FloatArray,
        heat_capacity: float | FloatArray,
    ) -> Metal:
        """A metal whose properties do not change with temperature (W/(m K), kg/m³, J/(kg K))."""
        density = np.atleast_1d(np.asarray(density, dtype=np.float64))
        return cls(
            conductivity_coefficients=_level(conductivity),
            density=density,
            heat_capacity_coefficients=_level(heat_capacity),
            limit_temperature=np.full(len(density), np.nan),
        )

    def conductivity(self, temperature: FloatArray) -> FloatArray:
        """Thermal conductivity, W/(m K), at ``temperature`` (designs, nodes) in K."""
        return _quadratic(self.conductivity_coefficients, temperature)

    def conductivity_slope(self, temperature: FloatArray) -> FloatArray:
        """Its derivative with respect to temperature, W/(m K²)."""
        coefficients = self.conductivity_coefficients[:, :, None]
        return coefficients[:, 1] + 2 * coefficients[:, 2] * temperature

    def heat_capacity(self, temperature: FloatArray) -> FloatArray:
        """Specific heat capacity, J/(kg K), at ``temperature`` (designs, nodes) in K."""
        return _quadratic(self.heat_capacity_coefficients, temperature)


@dataclass(frozen=True)
class MetalRecord:
    """One metal of the table: handbook points and where they come from.

    Parameters
    ----------
    conductivity_points : tuple of (K, W/(m K))
    density : float, kg/m³
    heat_capacity_points : tuple of (K, J/(kg K))
    limit_temperature : float, K
        Usual limit of long service in air.
    source : str
    """

    conductivity_points: Points
    density: float
    heat_capacity_points: Points
    limit_temperature: float
    source: str

    def metal(self) -> Metal:
        """The record as a batch of one."""
        return Metal(
            conductivity_coefficients=_fit(self.conductivity_points).copy(),
            density=np.array([self.density]),
            heat_capacity_coefficients=_fit(self.heat_capacity_points).copy(),
            limit_temperature=np.array([self.limit_temperature]),
        )


_INCROPERA = "Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, table A.1, from memory"

METALS: dict[str, MetalRecord] = {
    "stainless 304": MetalRecord(
        (
            (200, 12.6),
            (300, 14.9),
            (400, 16.6),
            (600, 19.8),
            (800, 22.6),
            (1000, 25.4),
            (1200, 28.0),
        ),
        7900.0,
        ((200, 402), (300, 477), (400, 515), (600, 557), (800, 582), (1000, 611), (1200, 640)),
        1143.15,
        f"{_INCROPERA}; limit 870 °C, intermittent service, common in makers' data sheets",
    ),
    "stainless 316": MetalRecord(
        ((300, 13.4), (400, 15.2), (600, 18.3), (800, 21.3), (1000, 24.2)),
        8238.0,
        ((300, 468), (400, 504), (600, 550), (800, 576), (1000, 602)),
        1143.15,
        f"{_INCROPERA}; limit 870 °C, intermittent service, from memory",
    ),
    "stainless 321": MetalRecord(
        ((300, 14.2), (400, 15.8), (600, 18.9), (800, 21.9), (1000, 24.7)),
        7978.0,
        ((300, 480), (400, 513), (600, 559), (800, 585), (1000, 606)),
        1143.15,
        f"{_INCROPERA}, there for the near twin 347; limit 870 °C, intermittent, from memory",
    ),
    "stainless 409": MetalRecord(
        ((373.15, 25.8), (773.15, 27.5)),
        7800.0,
        ((323.15, 460),),
        948.15,
        "grade tables of stockholders (annealed tube, ASTM A268): conductivity at 100 and 500 °C, "
        "heat capacity 0 to 100 °C, scaling limit 675 °C continuous",
    ),
    "stainless 430": MetalRecord(
        ((373.15, 26.1), (773.15, 26.3)),
        7740.0,
        ((323.15, 460),),
        1089.15,
        "AK Steel product data sheet 430-S-8-01-07: conductivity at 100 and 500 °C, heat capacity "
        "0 to 100 °C, oxidation limit 816 °C",
    ),
    "mild steel": MetalRecord(
        ((300, 63.9), (400, 58.7), (600, 48.8), (800, 39.2), (1000, 31.3)),
        7832.0,
        ((300, 434), (400, 487), (600, 559), (800, 685)),
        773.15,
        f"{_INCROPERA} (AISI 1010; its heat-capacity peak near 1000 K is left out); "
        "limit about 500 °C, where it begins to scale, from memory",
    ),
    "aluminised steel": MetalRecord(
        ((300, 63.9), (400, 58.7), (600, 48.8), (800, 39.2), (1000, 31.3)),
        7832.0,
        ((300, 434), (400, 487), (600, 559), (800, 685)),
        950.15,
        f"{_INCROPERA} (AISI 1010, which is its core; a coat of 20 to 25 µm a side adds under 3 % "
        "of conductance); limit 677 °C, 1250 °F, of type 1, common in the trade",
    ),
    "titanium grade 2": MetalRecord(
        ((200, 24.5), (300, 21.9), (400, 20.4), (600, 19.4), (800, 19.7), (1000, 20.7)),
        4500.0,
        ((200, 465), (300, 522), (400, 551), (600, 591), (800, 633), (1000, 675)),
        700.15,
        f"{_INCROPERA} (pure titanium; commercial grades conduct up to a quarter less); "
        "limit 427 °C, 800 °F, from memory",
    ),
    "copper": MetalRecord(
        ((200, 413), (300, 401), (400, 393), (600, 379), (800, 366), (1000, 352), (1200, 339)),
        8933.0,
        ((200, 356), (300, 385), (400, 397), (600, 417), (800, 433), (1000, 451), (1200, 480)),
        math.nan,
        f"{_INCROPERA} (pure copper)",
    ),
}
"""Metals by name.

Each is turned into quadratics fitted to its points: within 2.5 % of every conductivity and 4 %
of every heat capacity, and positive from 200 to 1300 K (tests/models/case/test_materials.py).
"""


def metal(name: str) -> Metal:
    """One metal of :data:`METALS`, as a batch of one.

    Parameters
    ----------
    name : str
        A key of :data:`METALS`.
    """
    if name not in METALS:
        raise InputError(
            "No metal of that name is known.",
            field="branch.material",
            value=name,
            unit="1",
            remedy=f"Give one of {', '.join(sorted(METALS))}, or its properties.",
        )
    return METALS[name].metal()


def _level(value: float | FloatArray) -> FloatArray:
    column = np.atleast_1d(np.asarray(value, dtype=np.float64))
    return np.stack([column, np.zeros_like(column), np.zeros_like(column)], axis=1)


def _quadratic(coefficients: FloatArray, temperature: FloatArray) -> FloatArray:
    a = coefficients[:, :, None]
    return a[:, 0] + temperature * (a[:, 1] + a[:, 2] * temperature)


@cache
def _fit(points: Points) -> FloatArray:
    """Quadratic (or the line, or the constant, that fewer points allow) of least relative error."""
    temperature, value = np.array(points, dtype=np.float64).T
    degree = min(2, len(points) - 1)
    powers = np.vander(temperature / _SCALE, degree + 1, increasing=True)
    scaled = cast("FloatArray", np.linalg.lstsq(powers / value[:, None], np.ones(len(points)))[0])
    coefficients = np.zeros((1, 3))
    coefficients[0, : degree + 1] = scaled / _SCALE ** np.arange(degree + 1)
    return coefficients
