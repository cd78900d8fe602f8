"""Mixing in the dead end: stirring and pulsation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.integrate import quad
from scipy.special import jve

from warmbranch.heat.mixing import (
    laminar_pulsation,
    pulsation,
    stirred_mouth,
)

ONE = np.ones(1)


class TestStirredMouth:
    def test_strength_at_the_mouth(self):
        """C_m U d, by hand: 0.15 × 20 m/s × 0.05 m."""
        found = stirred_mouth(np.zeros((1, 1)), 0.05 * ONE, 20 * ONE, 0.15 * ONE, 10 * ONE)
        assert_allclose(found, 0.15, rtol=1e-14)

    def test_falls_by_e_over_its_reach(self):
        bore, reach = np.array([0.03, 0.1]), np.array([4.0, 40.0])
        x = np.stack([np.zeros(2), reach * bore, 2 * reach * bore], axis=1)
        found = stirred_mouth(x, bore, 20 * np.ones(2), 0.2 * np.ones(2), reach)
        assert_allclose(found[:, 1:] / found[:, :-1], 1 / math.e, rtol=1e-12)

    def test_no_flow_no_stirring(self):
        assert_array_equal(stirred_mouth(np.zeros((1, 3)), ONE, 0 * ONE, ONE, ONE), 0.0)


def test_pulsation_goes_with_the_square_of_the_displacement():
    """C_p ω ξ², by hand: 0.1 × 2π 90 Hz × (3 mm)²."""
    found = pulsation(np.array([[0.0, 3e-3, 6e-3]]), 90 * ONE, 0.1 * ONE[:, None])
    assert_allclose(found[0, 1], 0.1 * 2 * math.pi * 90 * 9e-6, rtol=1e-14)
    assert_allclose(found[0] / found[0, 1], [0, 1, 4], rtol=1e-14)


def exact_laminar_pulsation(womersley: float, prandtl: float) -> float:
    """``C_p`` with Bessel functions, the wall at the gas's mean temperature.

    Derived for the section-mean velocity u cos ωt in a tube of radius 1: velocity
    (1 − J0(λr)/J0(λ))/(1 − 2J1(λ)/(λ J0(λ))), temperature from its own Bessel equation, flux
    averaged over section and period by quadrature, which shares no closed form with the code.
    """
    omega = 1.0
    viscosity = 1 / womersley**2
    diffusivity = viscosity / prandtl
    root = np.exp(0.75j * np.pi)
    lam, mu = root * np.sqrt(omega / viscosity), root * np.sqrt(omega / diffusivity)

    def ratio(p, r):  # J0(p r)/J0(p), scaled against overflow
        return jve(0, p * r) / jve(0, p) * np.exp(np.abs((p * r).imag) - np.abs(p.imag))

    mean = 2 * jve(1, lam) / jve(0, lam) / lam

    def velocity(r):
        return (1 - ratio(lam, r)) / (1 - mean)

    # iω T + w G = α ∇²T with T = 0 at the wall, G = 1.
    scale = 1 / (1 - mean)
    particular = 1 / (1j * omega + diffusivity * lam**2)

    def temperature(r):
        flat, wavy = -scale / (1j * omega), scale * particular
        return flat + wavy * ratio(lam, r) - (flat + wavy) * ratio(mu, r)

    def flux(r):
        return (np.conj(velocity(r)) * temperature(r)).real * 2 * r

    edge = max(0.0, 1 - 12 / womersley)
    carried = quad(flux, 0, edge, limit=400)[0] + quad(flux, edge, 1, limit=400)[0]
    return float(-0.5 * carried * omega)  # D = C_p ω ξ², u = ω ξ = 1


@pytest.mark.parametrize(("womersley", "within"), [(20.0, 0.10), (40.0, 0.05), (80.0, 0.025)])
@pytest.mark.parametrize("prandtl", [0.7, 0.75])
def test_laminar_pulsation_tends_to_the_exact_one(womersley, within, prandtl):
    """Layers of δ/a = √2/Wo: the error is of first order in it."""
    viscosity = 4e-5
    bore = 0.044
    frequency = viscosity * (womersley / (bore / 2)) ** 2 / (2 * math.pi)
    found = laminar_pulsation(
        np.full((1, 1), viscosity), np.full((1, 1), prandtl), frequency * ONE, bore * ONE
    )
    assert found[0, 0] == pytest.approx(exact_laminar_pulsation(womersley, prandtl), rel=within)
