"""The closed duct seen from its mouth: impedance against exact solutions and integration."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy import integrate, special

from closed_forms import LinearDuct, linear_duct_mouth_reactance
from shared.ducts import (
    AREA,
    LENGTH,
    PRESSURE,
    RADIUS,
    at_frequency,
    decaying,
    falling,
    mouth_line_impedance,
)
from warmbranch.gas.gas import dry_air_table
from warmbranch.sound.acoustics import Duct, input_impedance, standing_wave, uniform_duct
from warmbranch.sound.discretisation import duct as discretised

LINEAR = LinearDuct(650.0, 350.0, LENGTH, 1.37, 289.0)
FREQUENCIES = np.array([50.0, 100.0, 120.0, 140.0, 200.0, 300.0])
EXACT = linear_duct_mouth_reactance(LINEAR, FREQUENCIES)
"""Reactance at the mouth over ρc/S of the mouth's gas."""


def cooler(x):
    """A wall that falls from 520 K."""
    return 350.0 + 170.0 * np.exp(-x / 0.12)


def order(errors):
    """Observed order between successive halvings."""
    errors = np.abs(errors)
    return np.log2(errors[:-1] / errors[1:])


class TestLinearTemperature:
    """Against the exact solution in Bessel functions [SujithWaldherrZinn1995]."""

    def test_reactance(self, build_duct, ideal_gas):
        duct = build_duct(falling, LENGTH, ideal_gas(), cells=128, per_cell=64)
        reactance = at_frequency(duct, *FREQUENCIES)[0].imag / mouth_line_impedance()
        # Interpolation of the gas between 8193 nodes: 4e-8 at worst.
        assert_allclose(reactance, EXACT, rtol=1e-7, atol=1e-7)

    def test_default_grid(self, build_duct, ideal_gas):
        duct = build_duct(falling, LENGTH, ideal_gas(), cells=32, per_cell=5)
        reactance = at_frequency(duct, *FREQUENCIES)[0].imag / mouth_line_impedance()
        # 161 even nodes: some 1e-6 in frequency, times d ln X/d ln f of up to 8 near zeros.
        assert_allclose(reactance, EXACT, rtol=2e-5, atol=2e-5)

    def test_fourth_order_in_the_cells(self, build_duct, ideal_gas):
        def reactance(cells):
            duct = build_duct(falling, LENGTH, ideal_gas(), cells=cells, per_cell=8192 // cells)
            return at_frequency(duct, *FREQUENCIES)[0].imag

        # The limit on the same nodes, so that only the cells differ.
        errors = [reactance(cells) - reactance(1024) for cells in (4, 8, 16, 32)]
        # From the second halving on; the next term of the series still bends it by 0.1.
        assert_allclose(order(errors)[1:], 4.0, atol=0.15)

    def test_fourth_order_in_the_nodes(self, build_duct, ideal_gas):
        errors = [
            at_frequency(
                build_duct(falling, LENGTH, ideal_gas(), cells=n, per_cell=1), *FREQUENCIES
            )[0].imag
            / mouth_line_impedance()
            - EXACT
            for n in (16, 32, 64, 128, 256)
        ]
        # From the third halving on: 300 Hz is well past the resonance.
        assert_allclose(order(errors)[2:], 4.0, atol=0.1)  # one term of higher order

    def test_cells_of_one_interval_are_the_worst(self, build_duct, ideal_gas):
        """For the same nodes, more cells cost accuracy only through the Magnus remainder."""
        duct = build_duct(falling, LENGTH, ideal_gas(), cells=1, per_cell=160)
        reactance = at_frequency(duct, 50.0)[0].imag / mouth_line_impedance()
        # One cell for a twelfth of a wavelength: fourth order even there.
        assert_allclose(reactance, EXACT[0], rtol=5e-3)


class TestUniform:
    @pytest.mark.parametrize("cells", [1, 7, 32])
    def test_lossless_is_a_cotangent(self, build_duct, ideal_gas, cells):
        duct = build_duct(lambda x: 500.0, LENGTH, ideal_gas(), cells=cells, mouth_length=0.015)
        wave_number = 2 * np.pi * FREQUENCIES / math.sqrt(1.37 * 289.0 * 500.0)
        exact = mouth_line_impedance(500.0) * (
            -1 / np.tan(wave_number * LENGTH) + wave_number * 0.015
        )
        # Rounding, grown by the slope of the cotangent (30 at most here) and a product of cells.
        assert_allclose(at_frequency(duct, *FREQUENCIES)[0], 1j * exact, rtol=1e-12, atol=1e-7)

    @pytest.mark.parametrize("radius", [0.0005, 0.003, 0.024])
    def test_lossy_is_a_hyperbolic_cotangent(self, build_duct, ideal_gas, radius):
        duct = build_duct(lambda x: 500.0, LENGTH, ideal_gas(), radius=radius, wall_losses=True)
        series, shunt = by_kosten(FREQUENCIES, 500.0, 500.0, ideal_gas(), radius)
        exact = np.sqrt(series / shunt) / np.tanh(np.sqrt(series * shunt) * LENGTH)
        # The wide-tube series leaves 6e-9; tanh near its pole multiplies it by some ten.
        assert_allclose(at_frequency(duct, *FREQUENCIES)[0], exact, rtol=1e-7)

    def test_low_frequency_is_a_spring(self, build_duct, ideal_gas):
        """Z → 1/(jωC) with the compliance of the volume, here of gas of several temperatures."""
        duct = build_duct(decaying, LENGTH, ideal_gas())
        f = 0.01
        spring = 1.37 * PRESSURE / (1j * 2 * np.pi * f * AREA * LENGTH)
        # The next term is (kL)²/3: 4e-9 at 0.01 Hz. The real part is rounding.
        assert_allclose(at_frequency(duct, f)[0, 0].imag, spring.imag, rtol=1e-8)

    def test_narrow_low_frequency_is_isothermal(self, build_duct, ideal_gas):
        duct = build_duct(lambda x: 400.0, LENGTH, ideal_gas(), radius=0.001, wall_losses=True)
        f = 1e-3
        spring = PRESSURE / (2 * np.pi * f * np.pi * 1e-6 * LENGTH)
        # Thermal wave number 0.01: departs by its fourth power and by the viscous term, below 1e-5.
        assert_allclose(-at_frequency(duct, f)[0, 0].imag, spring, rtol=1e-5)

    def test_uniform_duct_is_a_duct_of_one_temperature(self, build_duct):
        air = dry_air_table()
        for losses in (False, True):
            like = build_duct(decaying, LENGTH, air, wall_losses=losses, mouth_length=0.01)
            filled = uniform_duct(like, air, np.array([480.0]), np.array([PRESSURE]))
            direct = build_duct(lambda x: 480.0, LENGTH, air, wall_losses=losses)
            direct = Duct(**{**vars_of(direct), "mouth_inertance": like.mouth_inertance})
            # One cell here, 32 there: rounding.
            assert_allclose(
                at_frequency(filled, *FREQUENCIES), at_frequency(direct, *FREQUENCIES), rtol=1e-11
            )


def vars_of(duct):
    return {name: getattr(duct, name) for name in Duct.__dataclass_fields__}


def by_kosten(frequency, temperature, wall, gas, radius):
    """Z' and Y' of Zwikker and Kosten, written again with scipy's Bessel functions of J.

    The core is as warm as ``temperature``, the layers as the wall.
    """
    constant = float(gas.gas_constant[0])

    def at(kelvin):
        values = gas.evaluate(np.array([[kelvin]]))
        capacity, conductivity, viscosity, *_ = (float(v[0, 0]) for v in values)
        density = PRESSURE / (constant * kelvin)
        thermal = conductivity / (density * capacity)
        return density, capacity / (capacity - constant), viscosity / density, thermal

    density, ratio, *_ = at(temperature)
    _, wall_ratio, kinematic_viscosity, thermal_diffusivity = at(wall)
    omega = 2 * np.pi * frequency
    area = np.pi * radius**2

    def layer(diffusivity):
        z = radius * np.sqrt(-1j * omega / diffusivity)
        # J₁/J₀ with the exponential growth taken out of both.
        return 2 * special.jve(1, z) / (z * special.jve(0, z))

    viscous, thermal = layer(kinematic_viscosity), layer(thermal_diffusivity)
    series = 1j * omega * density / (area * (1 - viscous))
    shunt = 1j * omega * area / (ratio * PRESSURE) * (1 + (wall_ratio - 1) * thermal)
    return series, shunt


def integrated_impedance(frequency, profile, gas, radius, wall=None):
    """Impedance by an adaptive integration of ``p' = −Z'U, U' = −Y'p`` from the cap."""

    def slope(x, state):
        warm = float(profile(x))
        series, shunt = by_kosten(frequency, warm, float(wall(x)) if wall else warm, gas, radius)
        return np.array([-series * state[1], -shunt * state[0]])

    start = np.array([1.0 + 0j, 0j])
    # U is some 1e-6 of p: its absolute tolerance must be that much smaller.
    solution = integrate.solve_ivp(
        slope, (LENGTH, 0.0), start, method="DOP853", rtol=1e-10, atol=[1e-11, 1e-17]
    )
    pressure, velocity = solution.y[:, -1]
    return pressure / velocity


class TestAgainstIntegration:
    """Full local Zwikker–Kosten, real gas properties, continuous temperature, scipy's DOP853."""

    @pytest.mark.parametrize("radius", [0.0025, 0.024, 0.0745])
    @pytest.mark.parametrize("frequency", [40.0, 117.0, 390.0])
    def test_impedance(self, build_duct, radius, frequency):
        air = dry_air_table()
        duct = build_duct(
            decaying, LENGTH, air, cells=512, per_cell=8, radius=radius, wall_losses=True
        )
        exact = integrated_impedance(frequency, decaying, air, radius)
        scale = max(abs(exact), duct.mouth_impedance[0])  # near a resonance Z is a difference
        # Measured 2e-7 at worst, of 512 cells whose layers are those of the cell's mean gas.
        assert abs(at_frequency(duct, frequency)[0, 0] - exact) < 5e-7 * scale

    @pytest.mark.parametrize("frequency", [40.0, 92.0, 390.0])
    def test_layers_are_as_warm_as_the_wall(self, build_duct, frequency):
        air = dry_air_table()
        duct = build_duct(
            decaying, LENGTH, air, cells=512, per_cell=8, wall_losses=True, wall=cooler
        )
        exact = integrated_impedance(frequency, decaying, air, RADIUS, cooler)
        alike = integrated_impedance(frequency, decaying, air, RADIUS)
        scale = max(abs(exact), duct.mouth_impedance[0])
        assert abs(at_frequency(duct, frequency)[0, 0] - exact) < 5e-7 * scale
        assert abs(alike - exact) > 5e-4 * scale

    def test_a_wall_as_warm_as_the_gas_changes_nothing(self, build_duct):
        air = dry_air_table()
        given = {"cells": 32, "per_cell": 4, "wall_losses": True}
        own = build_duct(decaying, LENGTH, air, **given)
        told = build_duct(decaying, LENGTH, air, wall=decaying, **given)
        for name, value in vars_of(own).items():
            assert_array_equal(getattr(told, name), value)

    @pytest.mark.parametrize(("radius", "frequency"), [(0.0025, 390.0), (0.024, 117.0)])
    def test_second_order_in_lossy_cells(self, build_duct, radius, frequency):
        """The wall layers, a small part of Z' and Y', are taken at the cell's mean gas."""
        air = dry_air_table()
        exact = integrated_impedance(frequency, falling, air, radius)
        errors = [
            at_frequency(
                build_duct(
                    falling, LENGTH, air, cells=n, per_cell=16384 // n, radius=radius,
                    wall_losses=True,
                ),
                frequency,
            )[0, 0]
            - exact
            for n in (16, 32, 64, 128)
        ]  # fmt: skip
        assert_allclose(order(errors), 2.0, atol=0.1)  # one term of higher order

    def test_default_cells(self, build_duct):
        air = dry_air_table()
        duct = build_duct(decaying, LENGTH, air, per_cell=5, wall_losses=True)
        exact = integrated_impedance(117.0, decaying, air, RADIUS)
        # 161 even nodes under a steep profile, whose curvature is what the trapezoids miss:
        # measured 6e-6 of the line's impedance, so 4e-6 in frequency.
        assert abs(at_frequency(duct, 117.0)[0, 0] - exact) < 1e-5 * duct.mouth_impedance[0]

    def test_bends(self, build_duct, ideal_gas):
        """Inertance ratio of a bend from 0.25 to 0.5 of the length, its ends on nodes."""
        gas = ideal_gas()
        intervals = 128 * 16
        middles = (np.arange(intervals) + 0.5) / intervals

        def bend(s):
            return np.where((s > 0.25) & (s < 0.5), 0.95, 1.0)

        duct = build_duct(
            decaying, LENGTH, gas, cells=128, per_cell=16, wall_losses=True,
            inertance_ratio=bend(middles),
        )  # fmt: skip

        # The integration is stopped at the bend's ends, where the right-hand side jumps.
        def stretch(low, high, ratio, state, frequency):
            def slope(x, y):
                series, shunt = by_kosten(frequency, *[float(decaying(x))] * 2, gas, RADIUS)
                return np.array([-ratio * series * y[1], -shunt * y[0]])

            return integrate.solve_ivp(
                slope, (high, low), state, method="DOP853", rtol=1e-10, atol=[1e-11, 1e-17]
            ).y[:, -1]

        for frequency in (60.0, 300.0):
            state = np.array([1.0 + 0j, 0j])
            for low, high, ratio in ((0.5, 1.0, 1.0), (0.25, 0.5, 0.95), (0.0, 0.25, 1.0)):
                state = stretch(low * LENGTH, high * LENGTH, ratio, state, frequency)
            # As test_impedance, with half the nodes.
            assert_allclose(at_frequency(duct, frequency)[0, 0], state[0] / state[1], rtol=2e-6)


class TestCutting:
    """Cutting a profile loses neither mass nor stiffness."""

    def test_integrals(self, build_duct):
        air = dry_air_table()

        def over_the_length(integrand):
            """By adaptive quadrature (scipy)."""
            return integrate.quad(
                lambda x: integrand(np.array([[decaying(x)]]))[0, 0], 0, LENGTH, epsrel=1e-12
            )[0]

        mass = over_the_length(lambda t: air.density(t, np.array([PRESSURE])))
        give = over_the_length(lambda t: 1 / (air.heat_capacity_ratio(t) * PRESSURE))

        def errors(per_cell):
            duct = build_duct(decaying, LENGTH, air, cells=4, per_cell=per_cell)
            return (
                np.sum(duct.density * duct.cell_length) / mass - 1,
                np.sum(duct.cell_length / duct.bulk_modulus) / give - 1,
            )

        coarse, fine = np.array(errors(40)), np.array(errors(80))
        assert_allclose(np.log2(np.abs(coarse[0] / fine[0])), 4.0, atol=0.05)
        # The capacity's spline, smooth to its second derivative only, stops the other there.
        assert_allclose(fine, 0, atol=2e-10)

    def test_transit_time(self, build_duct, ideal_gas):
        duct = build_duct(falling, LENGTH, ideal_gas(), cells=128, per_cell=32)
        # The mean of cells of 1/128: √ of the mean instead of the mean of √, 1e-6.
        assert_allclose(duct.transit_time, LINEAR.transit_time, rtol=3e-6)

    def test_uneven_nodes_of_a_uniform_gas(self, build_duct, ideal_gas):
        """A duct that is the same everywhere does not care where its nodes are."""
        x = LENGTH * np.expm1(2 * np.linspace(0, 1, 65)) / np.expm1(2)
        uneven = discretised(
            x[None], np.full((1, 65), 500.0), ideal_gas(), np.array([PRESSURE]),
            radius=np.array([RADIUS]), inertance_ratio=np.ones((1, 64)),
            mouth_inertance=np.zeros(1), wall_losses=np.array([True]),
        )  # fmt: skip
        even = build_duct(lambda x: 500.0, LENGTH, ideal_gas(), wall_losses=True)
        # Rounding, as the product of 32 matrices has it.
        assert_allclose(
            at_frequency(uneven, *FREQUENCIES), at_frequency(even, *FREQUENCIES), rtol=1e-11
        )

    def test_fourth_order_on_graded_nodes(self, ideal_gas):
        """The exact linear duct, on nodes that lie ever wider apart towards the cap."""

        def reactance(cells):
            x = LENGTH * np.expm1(2 * np.linspace(0, 1, cells + 1)) / np.expm1(2)
            graded = discretised(
                x[None], falling(x)[None], ideal_gas(), np.array([PRESSURE]),
                radius=np.array([RADIUS]), inertance_ratio=np.ones((1, cells)),
                mouth_inertance=np.zeros(1), wall_losses=np.array([False]), cells=cells,
            )  # fmt: skip
            return at_frequency(graded, *FREQUENCIES)[0].imag / mouth_line_impedance()

        errors = [reactance(cells) - EXACT for cells in (32, 64, 128, 256, 512)]
        # One term of higher order.
        assert_allclose(order(errors)[2:], 4.0, atol=0.1)

    def test_cells_must_divide_intervals(self, build_duct, ideal_gas):
        with pytest.raises(ValueError, match="31 intervals do not divide into 32 cells"):
            discretised(
                np.linspace(0, 1, 32)[None], np.full((1, 32), 500.0), ideal_gas(),
                np.array([PRESSURE]), radius=np.array([RADIUS]), inertance_ratio=np.ones((1, 31)),
                mouth_inertance=np.zeros(1), wall_losses=np.array([True]),
            )  # fmt: skip


class TestBatch:
    def test_batch_equals_singles(self, build_duct):
        air = dry_air_table()
        ducts = [
            build_duct(profile, length, air, radius=radius, wall_losses=losses, mouth_length=0.01)
            for profile, length, radius, losses in (
                (falling, 0.9, 0.024, True),
                (decaying, 0.5, 0.01, False),
                (lambda x: 900 - 200 * x, 2.0, 0.0025, True),
            )
        ]
        together = Duct.concatenate(ducts)
        f = np.array([[50.0, 130.0], [170.0, 500.0], [20.0, 60.0]])
        impedance = input_impedance(together, f)
        p, u = standing_wave(together, f[:, 0])
        for i, single in enumerate(ducts):
            # Long and short arrays may take different vector instructions: rounding.
            assert_allclose(impedance[i : i + 1], input_impedance(single, f[i : i + 1]), rtol=1e-11)
            for ours, alone in zip((p, u), standing_wave(single, f[i : i + 1, 0]), strict=True):
                assert_allclose(ours[i : i + 1], alone, rtol=1e-10, atol=1e-12)

    def test_lossless_design_beside_a_lossy_one(self, build_duct, ideal_gas):
        """Switching losses off in one design leaves it without any resistance."""
        ducts = [build_duct(falling, 0.9, ideal_gas(), wall_losses=on) for on in (True, False)]
        impedance = at_frequency(Duct.concatenate(ducts), 90.0)[:, 0]
        assert impedance[0].real > 0
        assert abs(impedance[1].real) < 1e-13 * abs(impedance[1])  # rounding
