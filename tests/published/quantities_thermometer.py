"""Calculators for the infrared thermometer."""

from __future__ import annotations

import numpy as np

from warmbranch.base.constants import ICE_POINT, STEFAN_BOLTZMANN
from warmbranch.fit.thermometer import (
    band_radiance,
    displayed_by_infrared,
    share_on_tube,
    skin_from_infrared,
)


def radiance(*, temperature_degC):
    return float(band_radiance(np.array([temperature_degC + ICE_POINT]))[0][0])


def share_of_all(*, temperature_degC):
    """Of a black body's whole radiation, in the band."""
    temperature = temperature_degC + ICE_POINT
    whole = STEFAN_BOLTZMANN * temperature**4
    return np.pi * radiance(temperature_degC=temperature_degC) / whole


def local_exponent(*, temperature_degC):
    temperature = temperature_degC + ICE_POINT
    value, slope = band_radiance(np.array([temperature]))
    return float(slope[0] * temperature / value[0])


def _through(function, temperature_degC, emissivity, emissivity_set, around_degC):
    around = np.array([around_degC + ICE_POINT])
    one = np.ones(1)
    found = function(
        temperature_degC + ICE_POINT + 0 * one,
        emissivity * one,
        emissivity_set * one,
        around,
        around,
        one,
        around,
    )
    return float(found[0]) - ICE_POINT


def displayed(*, true_degC, emissivity, emissivity_set, around_degC):
    return _through(displayed_by_infrared, true_degC, emissivity, emissivity_set, around_degC)


def true_skin(*, displayed_degC, emissivity, emissivity_set, around_degC):
    return _through(skin_from_infrared, displayed_degC, emissivity, emissivity_set, around_degC)


def displayed_by_a_wide_spot(*, true_degC, diameter_mm, distance_m, ratio, around_degC):
    around = np.array([around_degC + ICE_POINT])
    one = np.ones(1)
    share = share_on_tube(diameter_mm * 1e-3 * one, distance_m * one, ratio * one)
    shown = displayed_by_infrared(
        true_degC + ICE_POINT + 0 * one, one, one, around, around, share, around
    )
    return float(shown[0]) - ICE_POINT


CALCULATORS = {
    "band radiance, 8 to 14 µm": radiance,
    "band share of black-body radiation": share_of_all,
    "local exponent of the band radiance": local_exponent,
    "displayed temperature": displayed,
    "true skin from a display": true_skin,
    "displayed temperature, wide spot": displayed_by_a_wide_spot,
}
