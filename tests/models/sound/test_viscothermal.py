"""Wall layers: the layer function, its limits, and impedance and admittance per length.

Vectors to the printed digit are in fixtures/published/ZwikkerKosten1949.toml.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from warmbranch.sound.viscothermal import WIDE_TUBE, layer_function, line, wall_layers

# First term left out of the wide-tube series is 1073/1024 s⁶, s = 1/r at most 1/25: 4.3e-9.
SERIES = 6e-9
# Bessel functions of scipy, whose ratio loses a few digits.
BESSEL = 1e-13

GAS = {"density": 0.7, "viscosity": 2.9e-5, "prandtl": 0.71, "ratio": 1.37, "pressure": 101325.0}


def exact_layer(wave_number):
    with mpmath.workdps(40):
        z = mpmath.mpf(float(wave_number)) * mpmath.sqrt(mpmath.mpc(0, -1))
        return complex(2 * mpmath.besselj(1, z) / (z * mpmath.besselj(0, z)))


def tube(frequency, radius, *, lossy=True, density, viscosity, prandtl, ratio, pressure):
    """Z' and Y' of one tube at several frequencies."""
    f = np.atleast_1d(np.asarray(frequency, dtype=float))
    r = np.array([radius])
    layers = wall_layers(
        np.array([density]), np.array([viscosity]), np.array([prandtl]), r, np.array([lossy])
    )
    return line(
        f, np.array([density]), np.array([ratio * pressure]), layers, np.array([ratio - 1]), r
    )


def shear_wave_number(frequency, radius):
    return radius * np.sqrt(2 * np.pi * frequency * GAS["density"] / GAS["viscosity"])


def frequency_of(wave_number, radius):
    return (wave_number / radius) ** 2 * GAS["viscosity"] / (2 * np.pi * GAS["density"])


class TestLayerFunction:
    @pytest.mark.parametrize("wave_number", [*np.geomspace(0.01, 24.99, 18), WIDE_TUBE - 1e-9])
    def test_narrow_against_mpmath(self, wave_number):
        ours = layer_function(np.array([1 / wave_number]))[0]
        # Where F is nearly 1, 1 − F ≈ j r²/8 is what matters; it is checked in TestLimits.
        assert abs(ours / exact_layer(wave_number) - 1) < BESSEL

    @pytest.mark.parametrize("wave_number", [WIDE_TUBE, *np.geomspace(25.01, 1000, 12)])
    def test_wide_against_mpmath(self, wave_number):
        ours = layer_function(np.array([1 / wave_number]))[0]
        # The truncated series' error falls as the sixth power; below 1e-14 it is rounding.
        allowed = SERIES * (WIDE_TUBE / wave_number) ** 6 + 1e-14
        assert abs(ours / exact_layer(wave_number) - 1) < allowed

    def test_no_step_at_the_switch(self):
        below, above = layer_function(1 / np.array([WIDE_TUBE * (1 - 1e-12), WIDE_TUBE]))
        assert below != above  # two formulas indeed
        assert abs(below / above - 1) < SERIES

    def test_mixed_batch_equals_singles(self):
        wave_numbers = np.array([[3.0, 400.0], [25.0, 24.0]])
        together = layer_function(1 / wave_numbers)
        for index, wave_number in np.ndenumerate(wave_numbers):
            alone = layer_function(np.array([1 / wave_number]))[0]
            # Long and short arrays may take different vector instructions: rounding.
            assert_allclose(together[index], alone, rtol=1e-14)

    def test_no_layer_no_share(self):
        assert layer_function(np.array([0.0]))[0] == 0


class TestLimits:
    """Limits that need no Bessel function."""

    def test_very_narrow_tube_is_poiseuille_and_isothermal(self):
        radius, wave_number = 1e-3, 0.05
        f = frequency_of(wave_number, radius)
        impedance, admittance = (value[0] for value in tube(f, radius, **GAS))
        omega, area = 2 * np.pi * f, np.pi * radius**2
        poiseuille = 8 * GAS["viscosity"] / (np.pi * radius**4)
        # Next terms are of order r⁴/1000 relative; rounding of 1 − F is 1e-16·8/r² = 3e-13.
        assert_allclose(impedance.real, poiseuille, rtol=1e-7)
        assert_allclose(impedance.imag, 4 / 3 * omega * GAS["density"] / area, rtol=1e-6)
        assert_allclose(admittance.imag, omega * area / GAS["pressure"], rtol=1e-6)

    @pytest.mark.parametrize("wave_number", [100.0, 1000.0])
    def test_wide_tube_is_kirchhoff(self, wave_number):
        """Γ = jk + (1 + j) α, α = (1/ac) √(ων/2) [1 + (γ−1)/√Pr], to order 1/r."""
        radius = 0.024
        f = frequency_of(wave_number, radius)
        impedance, admittance = (value[0] for value in tube(f, radius, **GAS))
        speed = np.sqrt(GAS["ratio"] * GAS["pressure"] / GAS["density"])
        omega = 2 * np.pi * f
        loss = np.sqrt(omega * GAS["viscosity"] / GAS["density"] / 2) / (radius * speed)
        alpha = loss * (1 + (GAS["ratio"] - 1) / np.sqrt(GAS["prandtl"]))
        gamma = np.sqrt(impedance * admittance)
        # What is left is of second order in 1/r, of which α is the first: less than 2/r of it.
        assert_allclose(gamma.real, alpha, rtol=2 / wave_number)
        assert_allclose(gamma.imag - omega / speed, alpha, rtol=2 / wave_number)
        assert abs(gamma.real / alpha - 1) > 1e-2 / wave_number  # not the asymptote itself

    def test_without_losses(self):
        f, radius = 120.0, 0.024
        impedance, admittance = (value[0] for value in tube(f, radius, lossy=False, **GAS))
        omega, area = 2 * np.pi * f, np.pi * radius**2
        # The same products in another order: rounding.
        assert_allclose(impedance, 1j * omega * GAS["density"] / area, rtol=1e-15)
        bulk = GAS["ratio"] * GAS["pressure"]
        assert_allclose(admittance, 1j * omega * area / bulk, rtol=1e-15)

    def test_losses_are_chosen_design_by_design(self):
        one = np.ones(2)
        layers = wall_layers(
            0.7 * one, 2.9e-5 * one, 0.71 * one, 0.02 * one, np.array([True, False])
        )
        assert (layers[:, 0] > 0).all()
        assert (layers[:, 1] == 0).all()


class TestPassivity:
    @given(
        st.floats(0.5, 5000),
        st.floats(2e-4, 0.075),
        st.floats(0.1, 4),
        st.floats(1e-5, 6e-5),
        st.floats(0.6, 1.0),
        st.floats(1.1, 1.67),
    )
    def test_a_wall_only_absorbs(self, frequency, radius, density, viscosity, prandtl, ratio):
        impedance, admittance = tube(
            frequency,
            radius,
            density=density,
            viscosity=viscosity,
            prandtl=prandtl,
            ratio=ratio,
            pressure=1e5,
        )
        assert impedance.real > 0
        assert admittance.real > 0
        # The layer adds inertance, and compliance up to the isothermal.
        omega, area = 2 * np.pi * frequency, np.pi * radius**2
        assert impedance.imag > omega * density / area
        adiabatic = omega * area / (ratio * 1e5)
        # 1e-12: at the isothermal end the two are equal but for rounding.
        assert adiabatic < admittance.imag < adiabatic * ratio * (1 + 1e-12)

    def test_attenuation_grows_with_frequency_and_falls_with_bore(self):
        f = np.geomspace(10, 1000, 20)
        wide, narrow = (np.sqrt(np.prod(tube(f, radius, **GAS), axis=0)) for radius in (0.05, 0.01))
        assert (np.diff(wide.real) > 0).all()
        assert (narrow.real > wide.real).all()
        # Γ in the right half plane, travelling forward, as e^{+jωt} asks.
        assert (wide.imag > 0).all()
