"""What tests of a duct's sound share: its tube, what it is at a frequency, its line at a place."""

from __future__ import annotations

import math

import numpy as np

from warmbranch.sound.acoustics import input_impedance
from warmbranch.sound.viscothermal import line, wall_layers

LENGTH, RADIUS, PRESSURE = 0.9, 0.024, 101325.0
AREA = math.pi * RADIUS**2


def falling(x):
    return 650.0 - 300.0 * x / LENGTH


def decaying(x):
    return 350.0 + 300.0 * np.exp(-x / 0.2)


def mouth_line_impedance(temperature=650.0):
    """ρ c / S of the exact duct's gas."""
    density = PRESSURE / (289.0 * temperature)
    return density * math.sqrt(1.37 * 289.0 * temperature) / AREA


def at_frequency(duct, *frequencies):
    return input_impedance(duct, np.tile(np.array(frequencies, dtype=float), (len(duct), 1)))


def local_line(frequency, temperature, gas, radius):
    """Z' and Y' at one frequency and several temperatures."""
    state = gas.evaluate(temperature[None])
    constant = gas.gas_constant[0]
    ratio = state.heat_capacity / (state.heat_capacity - constant)
    density = PRESSURE / (constant * temperature[None])
    prandtl = state.heat_capacity * state.viscosity / state.conductivity
    bore, lossy = np.array([[radius]]), np.array([[True]])
    layers = wall_layers(density, state.viscosity, prandtl, bore, lossy)
    series, shunt = line(
        np.array([[frequency]]), density, ratio * PRESSURE, layers, ratio - 1, bore
    )
    return series[0], shunt[0]
