"""The buoyant counterflow: what it carries along, and what scrapes the wall."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.integrate import solve_bvp

from warmbranch.base.constants import GRAVITY
from warmbranch.heat.counterflow import (
    GENTLE_GRADIENT,
    ISOTHERMAL_PERIMETER,
    LAYERING,
    STEEP_SCRAPING,
    buoyant_counterflow,
    streaming,
)

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


def both(gradient, *, bore=0.0478, rise=0.0, strength=1.0, temperature=TEMPERATURE):
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


def counterflow(gradient, **given):
    return both(gradient, **given).along


class TestBuoyantCounterflow:
    def test_narrow_level_tube_is_viscous(self):
        """α Ra_g²/23040 with Ra_g = gβ|T'|a⁴/(να), where inertia does not yet count."""
        gradient, radius = -300.0, 2e-3
        rayleigh = GRAVITY / TEMPERATURE * 300.0 * radius**4 / (VISCOSITY * DIFFUSIVITY)
        expected = DIFFUSIVITY * rayleigh**2 / 23040
        inertial = (2 * radius) ** 2 * math.sqrt(GRAVITY / TEMPERATURE * 300.0)
        found = counterflow(gradient, bore=2 * radius).value[0, 0]
        # The inertial scale slows it by the ratio of the two.
        assert expected / inertial < 1e-3
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

    def test_upright_tube(self):
        """The slower of α Ra_g²/300 and 1.3 d² √(gβT'), by hand."""
        push = GRAVITY / TEMPERATURE * 500.0
        rayleigh = push * (0.0478 / 2) ** 4 / (VISCOSITY * DIFFUSIVITY)
        viscous = DIFFUSIVITY * rayleigh**2 / 300
        foot = (1 + (GENTLE_GRADIENT / 500.0) ** 2) ** -0.75
        inertial = 1.3 * 0.0478**2 * math.sqrt(push) * foot
        found = counterflow(-500.0, rise=np.pi / 2).value[0, 0]
        assert_allclose(found, viscous * inertial / (viscous + inertial), rtol=1e-12)

    def test_a_rising_branch_with_a_warm_cap_has_no_steep_part(self):
        """Steep parts of a falling branch with a warm cap and of a rising one with a cold cap are
        the same: hot gas lies below in both."""
        for rise in (0.1, 0.8, 1.5):
            level = counterflow([50.0, 800.0], rise=rise)  # no layers, and nothing steep
            falling = counterflow([50.0, 800.0], rise=-rise)
            rising = counterflow([-50.0, -800.0], rise=rise)
            kept = math.exp(-LAYERING * math.sin(rise))
            steep = rising.value - level.value
            assert np.all(steep > 0)
            assert_allclose(falling.value, kept * level.value + steep, rtol=1e-12)

    def test_layers_of_a_falling_branch(self):
        """exp(−7 sin) of the level part is carried along; all of it scrapes the wall."""
        for fall in (0.05, 0.3, 1.0):
            unlayered = counterflow(300.0, rise=fall).value  # hot gas above, without layers
            found = both(-300.0, rise=-fall)
            assert_allclose(
                found.along.value, math.exp(-7 * math.sin(fall)) * unlayered, rtol=1e-12
            )
            assert_allclose(found.at_wall.value, unlayered, rtol=1e-12)

    def test_what_scrapes_in_a_level_tube_is_what_goes_along(self):
        found = both([-30.0, -900.0])
        assert_array_equal(found.at_wall.value, found.along.value)

    def test_streams_that_run_along_scrape_little(self):
        rise = 0.5
        found, level = both(-300.0, rise=rise), counterflow(300.0, rise=rise)
        steep = found.along.value - level.value
        farther = streaming(np.array(rise))
        assert_allclose(
            found.at_wall.value - level.value, STEEP_SCRAPING / farther * steep, rtol=1e-10
        )

    def test_strength_multiplies(self):
        once, thrice = counterflow(-300.0, rise=0.4), counterflow(-300.0, rise=0.4, strength=3.0)
        for a, b in zip(once, thrice, strict=True):
            assert_allclose(b, 3 * a, rtol=1e-14)

    @pytest.mark.parametrize("rise", [-1.2, -0.3, 0.0, 0.3, 1.2, np.pi / 2])
    @pytest.mark.parametrize("bore", [0.006, 0.0478])
    def test_slopes(self, rise, bore):
        gradient = np.array([[-2000.0, -300.0, -20.0, -1.0, -0.1, 0.1, 1.0, 20.0, 300.0, 2000.0]])
        step = 1e-4 * np.abs(gradient)
        # Central differences: relative truncation some step², 1e-8; rounding 1e-12.
        close = {"rtol": 1e-6, "atol": 1e-22}
        ours = both(gradient, rise=rise, bore=bore)
        above = both(gradient + step, rise=rise, bore=bore)
        below = both(gradient - step, rise=rise, bore=bore)
        hotter = both(gradient, rise=rise, bore=bore, temperature=TEMPERATURE + 0.01)
        colder = both(gradient, rise=rise, bore=bore, temperature=TEMPERATURE - 0.01)
        for here, up, down, hot, cold in zip(ours, above, below, hotter, colder, strict=True):
            assert_allclose(here.gradient_slope, (up.value - down.value) / (2 * step), **close)
            assert_allclose(here.temperature_slope, (hot.value - cold.value) / 0.02, **close)

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
