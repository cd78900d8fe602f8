"""Mixing in the dead end: stirring, pulsation and the buoyant counterflow."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.integrate import quad, solve_bvp
from scipy.special import jve

from warmbranch.base.constants import GRAVITY
from warmbranch.heat.mixing import (
    GENTLE_GRADIENT,
    ISOTHERMAL_PERIMETER,
    buoyant_counterflow,
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


# --- the coefficients of the parallel counterflow, from its equations -----------------------
#
# Level pipe, radius 1, axial gradient G, T = G x + T'. Parallel flow w(r) sin θ driven by
# buoyancy: ν∇²w = gβG r sin θ, w = 0 at the wall. The flow carries T': α∇²T' = w G, with T' = 0
# (perimeter at one temperature) or ∂T'/∂r = 0 (adiabatic) at the wall. Axial flux −<w T'>/G is
# the diffusivity: α Ra_g² times C = −∫ W F r dr, the mean of sin² making 1/2 of 2.


def radial_mode(source_over_radius, adiabatic):
    """``f'' + f'/r − f/r² = source(r)`` on 0..1, regular at the axis; as f = r h."""
    solution = solve_bvp(
        lambda r, y: np.stack([y[1], source_over_radius(r)]),
        lambda axis, wall: np.array([axis[1], wall[0] + (wall[1] if adiabatic else 0.0)]),
        np.linspace(0, 1, 41),
        np.zeros((2, 41)),
        S=np.array([[0.0, 0.0], [0.0, -3.0]]),
        tol=1e-10,
        max_nodes=20000,
    )
    assert solution.success
    return lambda r: r * solution.sol(r)[0]


def published_flow(r):
    """w = (gβG/8ν)(r³ − a² r) sin θ, without its dimensions and sin θ."""
    return (r**3 - r) / 8


def counterflow_coefficient(adiabatic):
    nodes, weights = np.polynomial.legendre.leggauss(40)
    r = (nodes + 1) / 2
    carried = radial_mode(lambda r: (r**2 - 1) / 8, adiabatic)
    return -np.sum(weights / 2 * published_flow(r) * carried(r) * r)


class TestCounterflowCoefficient:
    def test_flow_solves_the_momentum_balance(self):
        found = radial_mode(np.ones_like, adiabatic=False)
        r = np.linspace(0, 1, 21)
        assert_allclose(found(r), published_flow(r), atol=1e-9)  # tolerance of the solver, ×10

    def test_perimeter_at_one_temperature(self):
        assert_allclose(counterflow_coefficient(adiabatic=False), 1 / 23040, rtol=1e-7)
        assert_array_equal(ISOTHERMAL_PERIMETER, 1 / 23040)

    def test_adiabatic_wall(self):
        """The other bound, 3.5 times larger; not used, as the wall is metal."""
        assert_allclose(counterflow_coefficient(adiabatic=True), 7 / 46080, rtol=1e-7)


VISCOSITY, DIFFUSIVITY, TEMPERATURE = 2.6e-5, 3.6e-5, 420.0


def counterflow(gradient, *, bore=0.0478, rise=0.0, strength=1.0, temperature=TEMPERATURE):
    """Of a gas whose ν and α go as T^1.7 and T^1.8."""
    gradient = np.atleast_2d(np.asarray(gradient, dtype=float))
    warmth = np.broadcast_to(temperature / TEMPERATURE, gradient.shape)
    return buoyant_counterflow(
        temperature * np.ones_like(gradient),
        gradient,
        VISCOSITY * warmth**1.7,
        DIFFUSIVITY * warmth**1.8,
        -(2 * 1.7 + 1.8) / (temperature * np.ones_like(gradient)),
        bore * np.ones(1),
        rise * np.ones(1),
        strength * np.ones(1),
    )


class TestBuoyantCounterflow:
    def test_narrow_level_tube_is_viscous(self):
        """α Ra_g²/23040 with Ra_g = gβ|T'|a⁴/(να), where inertia does not yet count."""
        gradient, radius = -300.0, 2e-3
        rayleigh = GRAVITY / TEMPERATURE * 300.0 * radius**4 / (VISCOSITY * DIFFUSIVITY)
        expected = DIFFUSIVITY * rayleigh**2 / 23040
        inertial = (2 * radius) ** 2 * math.sqrt(GRAVITY / TEMPERATURE * 300.0)
        found = counterflow(gradient, bore=2 * radius).value[0, 0]
        # The inertial scale slows it by the ratio of the two; the foot by its own factor.
        assert expected / inertial < 1e-3
        expected /= (1 + (GENTLE_GRADIENT / gradient) ** 2) ** 3
        assert_allclose(found, expected, rtol=2e-3)
        assert_allclose(found * (1 + expected / inertial), expected, rtol=1e-4)

    def test_wide_level_tube_is_inertial(self):
        bore, gradient = 0.1, -500.0
        inertial = bore**2 * math.sqrt(GRAVITY / TEMPERATURE * 500.0)
        found = counterflow(gradient, bore=bore).value[0, 0]
        # The viscous scale is some 280 times larger here, and takes its share.
        assert_allclose(found, inertial, rtol=5e-3)

    def test_hot_gas_above_does_not_mix(self):
        """The mouth hot and the branch hanging straight down: stable."""
        found = counterflow(-500.0, rise=-np.pi / 2)
        assert 0 <= found.value[0, 0] < 1e-20  # cos(π/2) is not quite 0

    def test_hot_gas_below_mixes_most(self):
        values = [
            counterflow(-500.0, rise=rise).value[0, 0] for rise in (-np.pi / 2, 0.0, np.pi / 2)
        ]
        assert values[0] < values[1]
        expected = 0.0478**2 * math.sqrt(GRAVITY / TEMPERATURE * 500.0)
        foot = (1 + (GENTLE_GRADIENT / 500.0) ** 2) ** -0.75
        assert_allclose(values[2], expected * foot, rtol=1e-12)

    def test_a_falling_branch_with_a_warm_cap_is_the_same_as_a_rising_one_with_a_cold_cap(self):
        for rise in (0.1, 0.8, 1.5):
            down = counterflow([50.0, 800.0], rise=-rise)
            up = counterflow([-50.0, -800.0], rise=rise)
            assert_allclose(down.value, up.value, rtol=1e-14)
            assert_allclose(down.gradient_slope, -up.gradient_slope, rtol=1e-14)

    def test_falling_a_little_is_level_to_first_order(self):
        level, tilted = counterflow(-300.0), counterflow(-300.0, rise=-0.01)
        assert_allclose(tilted.value, level.value, rtol=1e-4)  # cos 0.01 = 1 − 5e-5

    def test_strength_multiplies(self):
        once, thrice = counterflow(-300.0, rise=0.4), counterflow(-300.0, rise=0.4, strength=3.0)
        for a, b in zip(once, thrice, strict=True):
            assert_allclose(b, 3 * a, rtol=1e-14)

    @pytest.mark.parametrize("rise", [-1.2, -0.3, 0.0, 0.3, 1.2, np.pi / 2])
    @pytest.mark.parametrize("bore", [0.006, 0.0478])
    def test_slopes(self, rise, bore):
        gradient = np.array([[-2000.0, -300.0, -20.0, -1.0, -0.1, 0.1, 1.0, 20.0, 300.0, 2000.0]])
        step = 1e-4 * np.abs(gradient)
        ours = counterflow(gradient, rise=rise, bore=bore)
        above = counterflow(gradient + step, rise=rise, bore=bore).value
        below = counterflow(gradient - step, rise=rise, bore=bore).value
        # Central differences: relative truncation some step², 1e-8; rounding 1e-12.
        close = {"rtol": 1e-6, "atol": 1e-22}
        assert_allclose(ours.gradient_slope, (above - below) / (2 * step), **close)
        step = 0.01
        above = counterflow(gradient, rise=rise, bore=bore, temperature=TEMPERATURE + step).value
        below = counterflow(gradient, rise=rise, bore=bore, temperature=TEMPERATURE - step).value
        assert_allclose(ours.temperature_slope, (above - below) / (2 * step), **close)

    @pytest.mark.parametrize("rise", [-1.2, 0.0, 1.2])
    def test_gentle_gradients_have_a_bounded_slope(self, rise):
        """The bare square root would climb without limit as the gradient goes to zero."""
        gradient = np.concatenate([-np.logspace(3, -6, 91), [0.0], np.logspace(-6, 3, 91)])
        found = counterflow(gradient, rise=rise)
        assert np.all(np.isfinite(found))
        assert found.value[0, 91] == 0
        steepest = 0.0478**2 * math.sqrt(GRAVITY / TEMPERATURE / GENTLE_GRADIENT)
        # √(g⁴/(g²+g0²)^{3/2}) climbs by about 1/√g0 at most.
        assert np.all(np.abs(found.gradient_slope) <= 2 * steepest)
        assert np.all(np.diff(found.value[0, :92]) <= 0)
        assert np.all(np.diff(found.value[0, 91:]) >= 0)
