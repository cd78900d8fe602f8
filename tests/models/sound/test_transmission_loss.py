"""Transmission loss of the branch, and what bends do to its resonance."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import optimize

from closed_forms import (
    LinearDuct,
    linear_duct_resonances,
    uniform_notch_width,
    uniform_transmission_loss,
)
from shared.ducts import LENGTH, RADIUS, at_frequency, falling, local_line, mouth_line_impedance
from warmbranch.case.geometry import bend_inertance_ratio
from warmbranch.gas.gas import dry_air_table
from warmbranch.sound.acoustics import transmission_loss

LINEAR = LinearDuct(650.0, 350.0, LENGTH, 1.37, 289.0)


class TestBends:
    """First-order theory: df/f = (1/L) ∫ (1 − n) cos²(kx) dx for a uniform tube."""

    def shift(self, build_duct, gas, ratio, where):
        """Relative shift of the frequency at which the lossless reactance is nil."""
        s = (np.arange(3200) + 0.5) / 3200
        low, high = where
        inertance = np.where((s > low) & (s < high), ratio, 1.0)
        duct = build_duct(
            lambda x: 500.0, LENGTH, gas, cells=32, per_cell=100, inertance_ratio=inertance
        )
        straight = math.sqrt(1.37 * 289.0 * 500.0) / (4 * LENGTH)
        found = optimize.brentq(
            lambda f: at_frequency(duct, f)[0, 0].imag, 0.9 * straight, 1.1 * straight, xtol=1e-12
        )
        return found / straight - 1

    @pytest.mark.parametrize("where", [(0.0, 0.125), (0.45, 0.575), (0.875, 1.0)])
    def test_small_shift(self, build_duct, ideal_gas, where):
        thinning = 1e-4
        low, high = (np.pi / 2 * end for end in where)
        first_order = thinning * (
            (high - low) / 2 + (np.sin(2 * high) - np.sin(2 * low)) / 4
        ) / (np.pi / 2)  # fmt: skip
        found = self.shift(build_duct, ideal_gas(), 1 - thinning, where)
        # Second order in the thinning (1e-4 of the shift), and the fourth-order cells (1e-5).
        assert_allclose(found, first_order, rtol=1e-3)

    def test_a_bend_at_the_mouth(self, build_duct, ideal_gas):
        """90° of radius 1.5 bores at the mouth of a 48 mm branch, 0.9 m long: +0.36 %."""
        ratio = float(bend_inertance_ratio(np.array(RADIUS), np.array(3 * RADIUS)))
        arc = np.pi / 2 * 3 * RADIUS / LENGTH
        found = self.shift(build_duct, ideal_gas(), ratio, (0.0, arc))
        # Printed to two digits; the interval's end falls within 1/3200 of the length.
        assert_allclose(found, 0.0036, atol=0.5e-4)


class TestTransmissionLoss:
    @pytest.mark.parametrize("area_ratio", [0.25, 1.0])
    def test_uniform_lossless(self, build_duct, ideal_gas, area_ratio):
        duct = build_duct(lambda x: 500.0, LENGTH, ideal_gas())
        first = math.sqrt(1.37 * 289.0 * 500.0) / (4 * LENGTH)
        ratios = np.array([0.2, 0.5, 0.9, 0.98, 1.3, 2.5])
        main = np.array([[mouth_line_impedance(500.0) * area_ratio]])
        loss = transmission_loss(at_frequency(duct, *(first * ratios)), main)[0]
        # Rounding, grown by the tangent's slope.
        assert_allclose(loss, uniform_transmission_loss(area_ratio, np.pi / 2 * ratios), rtol=1e-10)

    def test_peak_with_losses(self, build_duct):
        """20 log₁₀(1 + s/2z_r), z_r being the resistance at the resonance over ρc."""
        air = dry_air_table()
        duct = build_duct(lambda x: 500.0, LENGTH, air, wall_losses=True)
        main = duct.mouth_impedance * 0.5
        best = optimize.minimize_scalar(
            lambda f: -transmission_loss(at_frequency(duct, f), main)[0, 0],
            bounds=(110, 130), method="bounded", options={"xatol": 1e-7},
        )  # fmt: skip
        series, shunt = (v[0] for v in local_line(best.x, np.array([500.0]), air, RADIUS))
        # Resistance at the resonance: |Zc| tanh αL, over the ideal ρc/S.
        attenuation = np.sqrt(series * shunt).real
        line = abs(np.sqrt(series / shunt)) / duct.mouth_impedance[0]
        resistance = line * math.tanh(attenuation * LENGTH)
        # The peak lies a little off X = 0, as Zc is not quite real: of second order in αL = 0.015,
        # 2e-4 of the ratio or 2e-3 dB.
        assert_allclose(-best.fun, 20 * math.log10(1 + 0.5 / (2 * resistance)), atol=2e-3)

    def width(self, duct, main, level, first):
        """Band over which the loss exceeds ``level``, over the resonance."""

        def excess(f):
            return transmission_loss(at_frequency(duct, f), main)[0, 0] - level

        low = optimize.brentq(excess, 0.4 * first, first * (1 - 1e-9), xtol=1e-10)
        high = optimize.brentq(excess, first * (1 + 1e-9), 1.6 * first, xtol=1e-10)
        return (high - low) / first

    @pytest.mark.parametrize(("area_ratio", "level"), [(0.25, 3.0), (0.5, 10.0), (1.0, 20.0)])
    def test_width(self, build_duct, ideal_gas, area_ratio, level):
        duct = build_duct(lambda x: 500.0, LENGTH, ideal_gas())
        first = math.sqrt(1.37 * 289.0 * 500.0) / (4 * LENGTH)
        main = duct.mouth_impedance * area_ratio
        width = self.width(duct, main, level, first)
        # The search's tolerance over the narrowest width.
        assert_allclose(width, uniform_notch_width(area_ratio, level), rtol=1e-9)

    def test_a_gradient_narrows_the_notch(self, build_duct, ideal_gas):
        duct = build_duct(falling, LENGTH, ideal_gas(), cells=128, per_cell=32)
        first = linear_duct_resonances(LINEAR, 1)[0]
        for area_ratio, level, printed in ((0.5, 10.0, 0.893), (1.0, 3.0, 0.898)):
            main = np.array([mouth_line_impedance() * area_ratio])
            narrowed = self.width(duct, main, level, first)
            ratio = narrowed / uniform_notch_width(area_ratio, level)
            assert_allclose(ratio, printed, atol=1e-3)  # the last printed digit


def test_nothing_passes_a_branch_of_no_impedance():
    with np.errstate(all="raise"):
        loss = transmission_loss(np.array([0j, -1e-300j, 1j]), np.array([2.0, 2.0, 2.0]))
    assert np.isposinf(loss[0])
    assert_allclose(loss[1:], [6000.0, 20 * np.log10(np.sqrt(2))], rtol=1e-12)
