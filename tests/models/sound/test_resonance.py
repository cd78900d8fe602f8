"""Resonances against exact solutions, quality factor, and the estimates set beside them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import optimize

from closed_forms import (
    LinearDuct,
    exponential_duct_resonances,
    linear_duct_mouth_reactance,
    linear_duct_resonances,
    quarter_wave_frequency,
    quarter_wave_frequency_with_mouth,
)
from shared.ducts import decaying, falling
from warmbranch.gas.gas import dry_air_table
from warmbranch.sound.acoustics import Duct, input_impedance, uniform_duct
from warmbranch.sound.damped import quality_factors
from warmbranch.sound.resonance import (
    effective_temperature,
    one_temperature_estimate,
    resonances,
    transit_time_estimate,
)
from warmbranch.sound.viscothermal import line, wall_layers

LENGTH, RADIUS, PRESSURE = 0.9, 0.024, 101325.0
RATIO, CONSTANT = 1.37, 289.0


def sound_speed(temperature):
    return math.sqrt(RATIO * CONSTANT * temperature)


def pressures(duct):
    return np.full(len(duct), PRESSURE)


class TestExactSolutions:
    """Ducts without losses [SujithWaldherrZinn1995]; more in tests/published."""

    @pytest.mark.parametrize(
        ("mouth", "cap"), [(650, 350), (900, 400), (500, 350), (650, 500), (300, 700)]
    )
    def test_linear_temperature(self, build_duct, ideal_gas, mouth, cap):
        duct = build_duct(
            lambda x: mouth + (cap - mouth) * x / LENGTH,
            LENGTH,
            ideal_gas(),
            cells=128,
            per_cell=32,
        )
        exact = linear_duct_resonances(LinearDuct(mouth, cap, LENGTH, RATIO, CONSTANT), 3)
        # 128 cells, of fourth order: measured 4e-9 at worst.
        assert_allclose(resonances(duct)[0][0], exact, rtol=5e-9)

    def test_printed_values(self, build_duct, ideal_gas):
        duct = build_duct(falling, LENGTH, ideal_gas(), cells=128, per_cell=128)
        found = resonances(duct)[0][0]
        # 128 cells: 1e-9, which is a quarter of a unit of the seventh decimal.
        assert_allclose(found[:2], [129.905254730, 369.249509], rtol=5e-9)
        assert_allclose(found[1] / found[0], 2.842, atol=5e-4)  # and not 3; as printed

    def test_exponential_temperature(self, build_duct, ideal_gas):
        decay = math.log(650 / 350) / LENGTH
        duct = build_duct(
            lambda x: 650 * np.exp(-decay * x), LENGTH, ideal_gas(), cells=128, per_cell=32
        )
        exact = exponential_duct_resonances(650.0, decay, LENGTH, RATIO, CONSTANT, 3)
        assert_allclose(resonances(duct)[0][0], exact, rtol=5e-9)  # as above

    def test_fourth_order_in_the_nodes(self, build_duct, ideal_gas):
        exact = linear_duct_resonances(LinearDuct(650, 350, LENGTH, RATIO, CONSTANT), 3)
        errors = np.array(
            [
                resonances(build_duct(falling, LENGTH, ideal_gas(), cells=n))[0][0] / exact - 1
                for n in (16, 32, 64)
            ]
        )
        # One interval a cell. The next term of the error bends the finer pair by a tenth.
        assert_allclose(np.log2(errors[1] / errors[2]), 4.0, atol=0.15)

    def test_default_grid(self, build_duct, ideal_gas):
        exact = linear_duct_resonances(LinearDuct(650, 350, LENGTH, RATIO, CONSTANT), 3)
        duct = build_duct(falling, LENGTH, ideal_gas(), per_cell=5)
        # 160 even intervals in 32 cells: measured 2.1e-7 at worst, in the third.
        assert_allclose(resonances(duct)[0][0], exact, rtol=3e-7)

    @pytest.mark.parametrize(
        ("mouth_length", "printed"), [(0.01495, 128.1532), (0.00751, 129.0196)]
    )
    def test_mouth_inertance(self, build_duct, ideal_gas, mouth_length, printed):
        exact_duct = LinearDuct(650.0, 350.0, LENGTH, RATIO, CONSTANT)

        def reactance(f):
            own = linear_duct_mouth_reactance(exact_duct, np.array([f]))[0]
            return own + 2 * np.pi * f / sound_speed(650) * mouth_length

        exact = optimize.brentq(reactance, 110, 135, xtol=1e-11)
        duct = build_duct(
            falling, LENGTH, ideal_gas(), cells=128, per_cell=32, mouth_length=mouth_length
        )
        assert_allclose(resonances(duct)[0][0, 0], exact, rtol=5e-9)  # as above
        assert_allclose(exact, printed, atol=5e-5)  # half a unit of the last digit

    def test_uniform_with_mouth(self, build_duct, ideal_gas):
        duct = build_duct(lambda x: 500.0, LENGTH, ideal_gas(), cells=1, mouth_length=0.05)
        exact = [
            quarter_wave_frequency_with_mouth(LENGTH, 0.05, sound_speed(500), mode)
            for mode in (1, 2, 3)
        ]
        # The search ends at 1e-8 of the frequency and is then far better.
        assert_allclose(resonances(duct)[0][0], exact, rtol=1e-9)


class TestLosses:
    def uniform_line(self, f, temperature, gas):
        state = gas.evaluate(np.array([[temperature]]))
        ratio = state.heat_capacity / (state.heat_capacity - gas.gas_constant)
        density = gas.density(np.array([[temperature]]), np.array([PRESSURE]))
        prandtl = state.heat_capacity * state.viscosity / state.conductivity
        layers = wall_layers(
            density, state.viscosity, prandtl, np.array([[RADIUS]]), np.array([[True]])
        )
        series, shunt = line(
            np.array([[f]]), density, ratio * PRESSURE, layers, ratio - 1, np.array([[RADIUS]])
        )
        return series[0, 0], shunt[0, 0]

    @pytest.mark.parametrize(("temperature", "printed"), [(350, 0.753), (500, 0.933), (650, 1.085)])
    def test_wall_layer_lowers_the_resonance(self, build_duct, temperature, printed):
        """By α/k, with the same α that absorbs: 0.7 to 1.1 % for a bore of 48 mm."""
        air = dry_air_table()
        lossy, lossless = (
            resonances(build_duct(lambda x: temperature, LENGTH, air, wall_losses=on))[0][0, 0]
            for on in (True, False)
        )
        series, shunt = self.uniform_line(lossy, float(temperature), air)
        propagation = np.sqrt(series * shunt)
        wave_number = 2 * np.pi * lossy / (lossless * 4 * LENGTH)
        # β L = π/2 at the resonance but for (αL)(arg Zc), of second order in 0.015.
        assert_allclose(lossy / lossless, wave_number / propagation.imag, rtol=3e-4)
        # Printed for a gas of Sutherland's viscosity, γ 1.37 and Pr 0.70: within 5 % of air's.
        assert_allclose(100 * (1 - lossy / lossless), printed, rtol=0.05)

    def test_quality_of_a_wide_uniform_tube(self, build_duct):
        """Q = π/(4 α L) for small losses."""
        air = dry_air_table()
        duct = build_duct(lambda x: 500.0, LENGTH, air, radius=RADIUS, wall_losses=True)
        found, quality = resonances(duct)
        for mode, f in enumerate(found[0]):
            series, shunt = self.uniform_line(f, 500.0, air)
            attenuation = np.sqrt(series * shunt).real
            # α itself grows as √ω, so β is not quite proportional to ω: 0.5 % (the layer's part
            # of the travel time), and (αL)² beside it.
            assert_allclose(
                quality[0, mode], (2 * mode + 1) * np.pi / (4 * attenuation * LENGTH), rtol=0.01
            )

    def test_quality_is_the_half_power_width(self, build_duct):
        """The band where |1/Z| exceeds 1/√2 of its peak is f/Q wide."""
        duct = build_duct(decaying, LENGTH, dry_air_table(), wall_losses=True, mouth_length=0.015)
        found, quality = resonances(duct)
        f, q = found[0, 0], quality[0, 0]

        def size(frequency):
            return abs(input_impedance(duct, np.array([[frequency]]))[0, 0])

        least = optimize.minimize_scalar(
            size, bounds=(f * 0.98, f * 1.02), method="bounded", options={"xatol": 1e-9}
        )
        edge = least.fun * math.sqrt(2)
        low = optimize.brentq(lambda g: size(g) - edge, f * (1 - 2 / q), least.x)
        high = optimize.brentq(lambda g: size(g) - edge, least.x, f * (1 + 2 / q))
        # Resistance and slope change over the band: of second order in 1/Q = 1/45.
        assert_allclose(f / (high - low), q, rtol=2e-3)
        assert_allclose(least.x, f, rtol=1 / q**2)  # the peak is not quite at the zero of X

    def test_more_losses_lower_quality(self, build_duct):
        ducts = [
            build_duct(decaying, LENGTH, dry_air_table(), radius=radius, wall_losses=True)
            for radius in (0.003, 0.006, 0.012, 0.024, 0.048)
        ]
        found, quality = resonances(Duct.concatenate(ducts))
        assert (np.diff(quality[:, 0]) > 0).all()
        assert (np.diff(found[:, 0]) > 0).all()

    def test_without_losses(self, build_duct):
        duct = build_duct(decaying, LENGTH, dry_air_table())
        found, quality = resonances(duct)
        assert np.isfinite(found).all()
        assert np.isposinf(quality).all()

    def test_no_resonance_where_the_reactance_falls_or_is_none(self, build_duct, ideal_gas):
        duct = build_duct(lambda x: 500.0, LENGTH, ideal_gas(), wall_losses=True)
        first = resonances(duct)[0][0, 0]
        # Between two resonances the reactance falls through zero: an antiresonance.
        at = optimize.brentq(
            lambda f: (1 / input_impedance(duct, np.array([[f]]))[0, 0]).imag,
            1.5 * first, 2.5 * first,
        )  # fmt: skip
        quality = quality_factors(duct, np.array([[first, at, np.nan]]))[0]
        assert quality[0] > 10
        assert np.isnan(quality[1:]).all()

    def test_overdamped(self, build_duct):
        """A capillary three metres long has no resonance, and says so."""
        ducts = [
            build_duct(lambda x: 1200 - 300 * x, 3.0, dry_air_table(), radius=r, wall_losses=True)
            for r in (0.0003, 0.02)
        ]
        found, quality = resonances(Duct.concatenate(ducts))
        assert np.isnan(found[0]).all()
        assert np.isnan(quality[0]).all()
        first, its_quality = resonances(Duct.concatenate(ducts), 1)
        assert_allclose(first, found[:, :1], rtol=1e-8)  # each search ends within that
        assert_allclose(its_quality, quality[:, :1], rtol=1e-6)
        assert np.isfinite(found[1]).all()


class TestEstimates:
    @pytest.mark.parametrize("decay", [0.05, 0.1, 0.2, 0.3, 0.45, 0.9, 1.8, 5.0])
    @pytest.mark.parametrize(("mouth", "cap"), [(650, 350), (900, 320)])
    def test_transit_time_is_low_for_a_hot_mouth(self, build_duct, ideal_gas, decay, mouth, cap):
        duct = build_duct(
            lambda x: cap + (mouth - cap) * np.exp(-x / decay), LENGTH, ideal_gas(), per_cell=8
        )
        error = transit_time_estimate(duct)[0] / resonances(duct)[0][0, 0] - 1
        assert -0.081 < error < -0.007

    @pytest.mark.parametrize(
        ("mouth", "cap", "percent"),
        [(650, 350, -5.96), (900, 400, -7.68), (500, 350, -3.51), (650, 500, -2.60)],
    )
    def test_transit_time_of_linear_temperatures(self, build_duct, ideal_gas, mouth, cap, percent):
        duct = build_duct(
            lambda x: mouth + (cap - mouth) * x / LENGTH, LENGTH, ideal_gas(), per_cell=16
        )
        error = transit_time_estimate(duct)[0] / resonances(duct)[0][0, 0] - 1
        assert_allclose(100 * error, percent, atol=0.006)  # half a unit of the last digit

    def test_transit_time_is_high_for_a_cold_mouth(self, build_duct, ideal_gas):
        duct = build_duct(lambda x: 350 + 300 * x / LENGTH, LENGTH, ideal_gas(), per_cell=4)
        assert transit_time_estimate(duct)[0] > 1.03 * resonances(duct)[0][0, 0]

    def test_one_temperature(self):
        """412 m/s at 150 °C, so 1.03 m for 100 Hz."""
        found = one_temperature_estimate(np.array([1.0, 1.031]), np.array([293.15, 423.15]))
        assert found[0] == 343.2 / 4
        assert_allclose(found[1], 412.334 / (4 * 1.031), rtol=1e-6)  # printed to six digits


class TestEffectiveTemperature:
    @pytest.mark.parametrize("losses", [False, True])
    def test_uniform_duct_has_its_own(self, build_duct, losses):
        air = dry_air_table()
        for temperature in (250.0, 480.0, 1200.0):
            duct = build_duct(
                lambda x, t=temperature: t, LENGTH, air, wall_losses=losses, mouth_length=0.01
            )
            found = resonances(duct)[0][:, 0]
            own = effective_temperature(duct, air, pressures(duct), found)
            assert_allclose(own, temperature, rtol=3e-8)  # two searches that end at 1e-8

    @pytest.mark.parametrize("losses", [False, True])
    def test_round_trip(self, build_duct, losses):
        air = dry_air_table()
        duct = build_duct(decaying, LENGTH, air, wall_losses=losses, mouth_length=0.01)
        found = resonances(duct)[0][:, 0]
        own = effective_temperature(duct, air, pressures(duct), found)
        filled = uniform_duct(duct, air, own, pressures(duct))
        assert_allclose(resonances(filled)[0][:, 0], found, rtol=2e-8)  # as above
        # Above the mean: the hot end weighs more.
        x = np.linspace(0, LENGTH, 1001)
        assert decaying(x).mean() + 5 < own[0] < 650

    def test_of_a_bent_duct(self, build_duct):
        bend = np.where(np.arange(160) < 40, 0.95, 1.0)
        air = dry_air_table()
        duct = build_duct(decaying, LENGTH, air, per_cell=5, inertance_ratio=bend, wall_losses=True)
        found = resonances(duct)[0][:, 0]
        filled = uniform_duct(
            duct, air, effective_temperature(duct, air, pressures(duct), found), pressures(duct)
        )
        assert filled.inertance_ratio.min() == pytest.approx(0.95, rel=1e-12)  # rounding
        assert_allclose(resonances(filled)[0][:, 0], found, rtol=2e-8)  # as above

    def test_rises_with_frequency(self, build_duct):
        air = dry_air_table()
        duct = build_duct(decaying, LENGTH, air, wall_losses=True).take(np.zeros(8, dtype=int))
        f = np.linspace(95, 160, 8)
        gas = air.take(np.zeros(8, dtype=int))
        own = effective_temperature(duct, gas, pressures(duct), f)
        assert (np.diff(own) > 0).all()
        # c ∝ f, so T ∝ f² but for γ(T) and the layers, a few percent over this span.
        assert_allclose(own[-1] / own[0], (f[-1] / f[0]) ** 2, rtol=0.06)

    def test_none_without_a_resonance(self, build_duct):
        air = dry_air_table()
        duct = build_duct(decaying, LENGTH, air, wall_losses=True).take(np.zeros(2, dtype=int))
        own = effective_temperature(
            duct, air.take(np.zeros(2, dtype=int)), pressures(duct), np.array([np.nan, 120.0])
        )
        assert np.isnan(own[0])
        assert np.isfinite(own[1])


def test_batch_equals_singles(build_duct):
    air = dry_air_table()
    ducts = [
        build_duct(profile, length, air, radius=radius, wall_losses=on, mouth_length=radius / 2)
        for profile, length, radius, on in (
            (falling, 0.9, 0.024, True),
            (decaying, 0.5, 0.01, False),
            (lambda x: 900 - 200 * x, 2.0, 0.0025, True),
        )
    ]
    together = Duct.concatenate(ducts)
    found, quality = resonances(together)
    gas = air.take(np.zeros(3, dtype=int))
    own = effective_temperature(together, gas, pressures(together), found[:, 0])
    for i, duct in enumerate(ducts):
        alone, alone_quality = resonances(duct)
        # A batch goes on until its last member has met the search's 1e-8; the others gain by it.
        assert_allclose(found[i], alone[0], rtol=1e-10)
        assert_allclose(quality[i], alone_quality[0], rtol=1e-6)  # d ln(slope)/d ln f times that
        single = effective_temperature(duct, air, pressures(duct), alone[:, 0])
        assert_allclose(own[i], single[0], rtol=1e-9)


def test_uniform_tube_without_mouth(build_duct, ideal_gas):
    duct = build_duct(lambda x: 500.0, LENGTH, ideal_gas())
    exact = [quarter_wave_frequency(LENGTH, sound_speed(500), mode) for mode in (1, 2, 3)]
    assert_allclose(resonances(duct)[0][0], exact, rtol=1e-12)  # rounding: the start is exact
