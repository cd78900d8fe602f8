"""Calculators for open ends, places on the main pipe, gears and tyres."""

from __future__ import annotations

import math

import numpy as np

from warmbranch.case.road_speed import engine_speed_on_road, rolling_circumference, tyre_diameter
from warmbranch.sound.placement import insertion_loss
from warmbranch.sound.tail import UNFLANGED_LENGTH, unflanged_reflection


def reflection(*, wavenumber_radius):
    return unflanged_reflection(np.array([wavenumber_radius]))[0][0]


def end_correction(*, wavenumber_radius):
    return unflanged_reflection(np.array([wavenumber_radius]))[1][0]


def insertion_loss_ahead_of_tail(
    *,
    position_m,
    temperature_K,
    heat_capacity_ratio,
    gas_constant,
    frequency_Hz,
    radius_m,
    area_ratio,
    mouth_resistance,
):
    """A lossless tail whose end has (ka)²/4 + 0.6133j ka; a source that does not reflect."""
    speed = math.sqrt(heat_capacity_ratio * gas_constant * temperature_K)
    k = 2 * math.pi * frequency_Hz / speed
    end = (k * radius_m) ** 2 / 4 + 1j * UNFLANGED_LENGTH[0] * k * radius_m
    # The branch at its resonance: a resistance, over ρ c of its own section.
    branch = np.array([mouth_resistance / area_ratio + 0j])
    tail = np.array([np.tanh(1j * k * position_m + np.arctanh(end))])
    return insertion_loss(branch, np.array([1.0 + 0j]), tail)[0]


def diameter(*, width_mm, aspect_percent, rim_in):
    return 1e3 * tyre_diameter(width_mm / 1e3, aspect_percent / 100, rim_in * 0.0254)


def circumference(**tyre):
    return 1e3 * rolling_circumference(diameter(**tyre) / 1e3)


def engine_speed(*, speed_km_h, gear_ratio, final_drive, **tyre):
    turns = engine_speed_on_road(
        speed_km_h / 3.6, circumference(**tyre) / 1e3, gear_ratio, final_drive
    )
    return 60 * turns


CALCULATORS = {
    "reflection of an unflanged pipe": reflection,
    "end correction of an unflanged pipe": end_correction,
    "insertion loss of a branch ahead of a tail": insertion_loss_ahead_of_tail,
    "overall diameter of a tyre": diameter,
    "rolling circumference of a tyre": circumference,
    "engine speed on the road": engine_speed,
}
