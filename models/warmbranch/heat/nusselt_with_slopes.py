"""The outside correlations with their slopes; the same in C: core/outside_film.c.

Equations, validity, checks and sources are in nusselt.py. Written without branches, so that they
serve arrays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.elementary import exp, log, power, third_root

STEEPEST_CURVATURE = 10.0
"""Curvature parameter that a vertical tube tends to as its skin nears air temperature."""

LEVEL_STILL, LEVEL_PRANDTL = 0.60, 0.559
PLATE_STILL, PLATE_PRANDTL = 0.825, 0.492
"""Churchill and Chu's numbers: the root of Nu in still air, and what stands over Pr."""

_LEAST = float(np.finfo(np.float64).tiny)


class SlopedNusselt(NamedTuple):
    """A Nusselt number and its slopes in the logarithms of its two arguments."""

    value: FloatArray
    slope_first: FloatArray
    slope_prandtl: FloatArray

    def growth(self, first_change: FloatArray, prandtl_change: FloatArray) -> FloatArray:
        """Change of the Nusselt number that goes with changes of the two logarithms."""
        return self.slope_first * first_change + self.slope_prandtl * prandtl_change


def sloped_churchill_chu(
    rayleigh: FloatArray, prandtl: FloatArray, still: float, prandtl_constant: float
) -> SlopedNusselt:
    """Form that Churchill and Chu gave both cylinder and plate; first slope in ln Ra."""
    return natural(sixth_root(rayleigh), still, natural_factors(prandtl, prandtl_constant))


def sloped_vertical_cylinder(
    rayleigh: FloatArray, prandtl: FloatArray, length_over_diameter: FloatArray
) -> SlopedNusselt:
    """:func:`nusselt.nusselt_vertical_cylinder_natural` with slopes; the first in ln Ra."""
    plate = sloped_churchill_chu(rayleigh, prandtl, PLATE_STILL, PLATE_PRANDTL)
    grashof = rayleigh / prandtl
    return curved(plate, grashof, length_over_diameter, curvature_factors(prandtl))


def sloped_cross_flow(reynolds: FloatArray, prandtl: FloatArray) -> SlopedNusselt:
    """:func:`nusselt.nusselt_cross_flow` with slopes; the first in ln Re."""
    return crossed(reynolds, cross_flow_factors(prandtl))


# What the correlations make of the Prandtl number alone, which the core takes from series ...


class Factors(NamedTuple):
    """A factor of a Nusselt number, and how it goes with ln Pr: see who makes one."""

    value: FloatArray
    slope: FloatArray


class CurvatureFactors(NamedTuple):
    """B and C of :func:`nusselt.nusselt_vertical_cylinder_natural`, and their slopes in ln Pr."""

    strength: FloatArray
    strength_slope: FloatArray
    exponent: FloatArray
    exponent_slope: FloatArray


def natural_factors(prandtl: FloatArray, constant: float) -> Factors:
    """Of the sixth root of Ra, and its slope in ln Pr over a sixth of itself."""
    # Roots of roots and one exponential instead of fractional powers: faster on arrays.
    root = np.sqrt(constant / prandtl)
    nine_sixteenths = root * np.sqrt(np.sqrt(np.sqrt(root)))
    denominator = 1 + nine_sixteenths
    # (8/27)(9/16) = 1/6
    return Factors(0.387 * exp((-8 / 27) * log(denominator)), nine_sixteenths / denominator)


def curvature_factors(prandtl: FloatArray) -> CurvatureFactors:
    """B and C, and their slopes in ln Pr."""
    log_prandtl = log(prandtl)
    rising: FloatArray = 0.20305 * exp(-0.43 * log_prandtl)
    half_slope = 0.00215 * np.sqrt(prandtl)
    hyperbola = 4.809e-4 / prandtl
    return CurvatureFactors(
        0.0571322 + rising,
        -0.43 * rising,
        0.9165 - 2 * half_slope + 0.01333 * log_prandtl + hyperbola,
        0.01333 - half_slope - hyperbola,
    )


def cross_flow_factors(prandtl: FloatArray) -> Factors:
    """Of the root of Re, and its slope in ln Pr over itself."""
    third: FloatArray = third_root(prandtl)
    two_thirds: FloatArray = 0.4 ** (2 / 3) / np.square(third)
    return Factors(
        0.62 * third / np.sqrt(np.sqrt(1 + two_thirds)),
        1 / 3 + two_thirds / (6 * (1 + two_thirds)),
    )


# ... and what they make of the rest.


def sixth_root(rayleigh: FloatArray) -> FloatArray:
    """Of a Rayleigh number ``>= 0``."""
    # The least normal number stands for Ra = 0: its sixth root, 5e-52, is nil beside ``still``.
    return exp(log(np.maximum(rayleigh, _LEAST)) * (1 / 6))


def natural(root_rayleigh: FloatArray, still: float, factors: Factors) -> SlopedNusselt:
    """Churchill and Chu's form, from the sixth root of Ra."""
    rising = root_rayleigh * factors.value
    root_nusselt = still + rising
    per_log_rayleigh = root_nusselt * rising * (1 / 3)
    # The slope in ln Pr has the same factor 2 · 1/6 as that in ln Ra.
    return SlopedNusselt(
        np.square(root_nusselt), per_log_rayleigh, per_log_rayleigh * factors.slope
    )


def curved(
    plate: SlopedNusselt,
    grashof: FloatArray,
    length_over_diameter: FloatArray,
    factors: CurvatureFactors,
) -> SlopedNusselt:
    """A plate's natural convection bent round a cylinder."""
    inverse_fourth = grashof / np.square(32 * np.square(length_over_diameter))
    joined = inverse_fourth + STEEPEST_CURVATURE**-4
    log_curvature: FloatArray = -0.25 * log(joined)
    raised: FloatArray = exp(factors.exponent * log_curvature)
    added = factors.strength * raised
    added_per_log_grashof = -0.25 * factors.exponent * added * inverse_fourth / joined
    added_per_log_prandtl = (
        factors.strength_slope * raised
        + added * log_curvature * factors.exponent_slope
        - added_per_log_grashof  # Gr = Ra/Pr
    )
    return SlopedNusselt(
        plate.value * (1 + added),
        plate.slope_first * (1 + added) + plate.value * added_per_log_grashof,
        plate.slope_prandtl * (1 + added) + plate.value * added_per_log_prandtl,
    )


def crossed(reynolds: FloatArray, factors: Factors) -> SlopedNusselt:
    """Churchill and Bernstein's form."""
    root = np.sqrt(reynolds)
    quarter = root * (1 / np.sqrt(282000.0))
    five_eighths = quarter * np.sqrt(np.sqrt(quarter))
    swelling: FloatArray = power(1 + five_eighths, 0.8)
    rising = factors.value * root * swelling
    return SlopedNusselt(
        0.3 + rising,
        rising * (0.5 + 0.5 * five_eighths / (1 + five_eighths)),
        rising * factors.slope,
    )
