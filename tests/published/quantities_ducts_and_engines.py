"""Calculators for lossless ducts, bends and engine orders."""

from __future__ import annotations

import math

import numpy as np

from closed_forms import (
    LinearDuct,
    exponential_duct_resonances,
    linear_duct_mouth_reactance,
    linear_duct_resonances,
    quarter_wave_frequency,
    uniform_notch_width,
    uniform_transmission_loss,
)
from warmbranch.case.engine import Cycle, firing_order, frequency, order_amplitudes, strongest_order
from warmbranch.case.geometry import bend_inertance_ratio


def linear_duct(*, mouth_K, cap_K, length_m, heat_capacity_ratio, gas_constant):
    return LinearDuct(mouth_K, cap_K, length_m, heat_capacity_ratio, gas_constant)


def linear_resonance(*, mode, **duct):
    return linear_duct_resonances(linear_duct(**duct), mode)[-1]


def linear_reactance(*, frequency_Hz, **duct):
    return linear_duct_mouth_reactance(linear_duct(**duct), np.array([frequency_Hz]))[0]


def exponential_resonance(*, mouth_K, cap_K, length_m, heat_capacity_ratio, gas_constant):
    decay = math.log(mouth_K / cap_K) / length_m
    return exponential_duct_resonances(
        mouth_K, decay, length_m, heat_capacity_ratio, gas_constant, 1
    )[0]


def firing_frequency(*, cylinders, cycle, rpm):
    order = firing_order(cylinders, Cycle(cycle))
    return frequency(np.array(rpm / 60), np.array(order))


def order_amplitude(*, firing_angles_deg, cycle, order):
    orders, amplitudes = order_amplitudes(np.radians(firing_angles_deg), Cycle(cycle), order)
    assert orders[-1] == order
    return amplitudes[-1]


CALCULATORS = {
    "resonance of a duct of linear temperature": linear_resonance,
    "mouth reactance of a duct of linear temperature": linear_reactance,
    "resonance of a duct of exponential temperature": exponential_resonance,
    "transmission loss of a uniform branch": lambda *, area_ratio, frequency_ratio: (
        uniform_transmission_loss(area_ratio, np.array([math.pi / 2 * frequency_ratio]))[0]
    ),
    "notch width of a uniform branch": lambda *, area_ratio, loss_dB: uniform_notch_width(
        area_ratio, loss_dB
    ),
    # Frequency and length of a quarter wave change places in c / 4.
    "quarter-wave length": lambda *, sound_speed, frequency_Hz: quarter_wave_frequency(
        frequency_Hz, sound_speed
    ),
    "inertance of a bend": lambda *, bend_radius_in_bores: bend_inertance_ratio(
        np.array(0.5), np.array(bend_radius_in_bores)
    ),
    "firing order": lambda *, cylinders, cycle: firing_order(cylinders, Cycle(cycle)),
    "firing frequency": firing_frequency,
    "order amplitude": order_amplitude,
    "strongest order": lambda *, firing_angles_deg, cycle: strongest_order(
        np.radians(firing_angles_deg), Cycle(cycle)
    ),
}
