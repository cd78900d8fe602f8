"""Exact solutions against their own differential equations, solved numerically."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import integrate

from closed_forms import (
    CoupledFin,
    Fin,
    LinearDuct,
    coupled_fin,
    exponential_duct_resonances,
    fin_base_heat,
    fin_excess_ratio,
    linear_duct_mouth_reactance,
    linear_duct_resonances,
    quarter_wave_frequency,
    quarter_wave_frequency_with_mouth,
    uniform_notch_width,
    uniform_transmission_loss,
)

INTEGRATION = {"method": "DOP853", "rtol": 1e-12, "atol": 1e-13}

ROD = Fin(
    film=20.0,
    perimeter=math.pi * 0.01,
    area=math.pi * 0.01**2 / 4,
    length=0.2,
    conductivity=50.0,
)


class TestFin:
    def test_obeys_its_equation(self):
        """θ'' = m²θ from the tip, where kθ' = −hθ, back to the base."""
        tip_slope = -ROD.film / ROD.conductivity
        solution = integrate.solve_ivp(
            lambda _, y: [y[1], ROD.decay**2 * y[0]],
            (ROD.length, 0.0),
            [1.0, tip_slope],
            dense_output=True,
            **INTEGRATION,
        )
        x = np.linspace(0, ROD.length, 9)
        theta = solution.sol(x)
        # Tolerance of the integration, over some hundred steps.
        assert_allclose(fin_excess_ratio(ROD, x), theta[0] / theta[0, 0], rtol=1e-10)
        heat = -ROD.conductivity * ROD.area * theta[1, 0] / theta[0, 0]
        assert_allclose(fin_base_heat(ROD, 1.0), heat, rtol=1e-10)

    def test_heat_in_is_heat_out(self):
        sides, _ = integrate.quad(lambda x: fin_excess_ratio(ROD, np.array([x]))[0], 0, ROD.length)
        tip = fin_excess_ratio(ROD, np.array([ROD.length]))[0]
        lost = ROD.film * (ROD.perimeter * sides + ROD.area * tip)
        assert_allclose(fin_base_heat(ROD, 1.0), lost, rtol=1e-10)  # quadrature


COUPLED = CoupledFin(
    gas_conductance=0.08, wall_conductance=0.012, exchange=0.6, loss=1.6, length=1.0
)
X = np.array([0.0, 0.25, 0.5, 0.75, 1.0])


class TestCoupledFin:
    # Gas and wall in K, worked with other software; eight printed decimals.
    TABLE = (
        (
            60.0,
            [128, 73.66275986, 43.93345502, 29.40112459, 25.05843353],
            [60, 21.49719823, 12.37149755, 8.26237414, 7.04128715],
        ),
        (
            None,
            [128, 72.98793293, 43.50769213, 29.11532205, 24.81480952],
            [29.89125978, 20.30717746, 12.21862189, 8.18096017, 6.97275727],
        ),
    )

    @pytest.mark.parametrize(("wall_at_mouth", "gas", "wall"), TABLE)
    def test_table(self, wall_at_mouth, gas, wall):
        ours = coupled_fin(COUPLED, X, 128.0, wall_at_mouth)
        assert_allclose(ours.gas, gas, atol=5.1e-9, rtol=0)  # half the last digit
        assert_allclose(ours.wall, wall, atol=5.1e-9, rtol=0)

    def test_entering_heat_of_the_table(self):
        ours = coupled_fin(COUPLED, X, 128.0, None)
        assert_allclose(ours.entering, 23.555857964, rtol=2.2e-11)  # half the last digit

    @pytest.mark.parametrize("wall_at_mouth", [60.0, 0.0, None])
    def test_obeys_its_equations(self, wall_at_mouth):
        k_gas, k_wall, a, b, length = COUPLED

        def slopes(_, y):
            gas, gas_slope, wall, wall_slope = y
            exchange = a * (gas - wall)
            return np.array(
                [gas_slope, exchange / k_gas, wall_slope, (b * wall - exchange) / k_wall]
            )

        def ends(mouth, cap):
            wall_end = mouth[3] if wall_at_mouth is None else mouth[2] - wall_at_mouth
            return np.array([mouth[0] - 128.0, wall_end, cap[1], cap[3]])

        x = np.linspace(0, length, 201)
        start = np.stack([np.full_like(x, 50.0), 0 * x, np.full_like(x, 20.0), 0 * x])
        solution = integrate.solve_bvp(slopes, ends, x, start, tol=1e-9, max_nodes=20000)
        assert solution.status == 0
        numeric = solution.sol(X)
        ours = coupled_fin(COUPLED, X, 128.0, wall_at_mouth)
        # The solver's relative residual of 1e-9, on temperatures up to 128 K.
        assert_allclose(ours.gas, numeric[0], atol=1e-6)
        assert_allclose(ours.wall, numeric[2], atol=1e-6)

    @pytest.mark.parametrize("wall_at_mouth", [60.0, 0.0, None])
    def test_heat_in_is_heat_out(self, wall_at_mouth):
        lost, _ = integrate.quad(
            lambda x: (
                COUPLED.loss * coupled_fin(COUPLED, np.array([x]), 128.0, wall_at_mouth).wall[0]
            ),
            0,
            COUPLED.length,
            epsabs=0,
            epsrel=1e-11,
        )
        entering = coupled_fin(COUPLED, X, 128.0, wall_at_mouth).entering
        assert_allclose(entering, lost, rtol=1e-10)  # quadrature

    def test_strong_exchange_makes_one_fin(self):
        """Gas and wall tied together are one fin of both conductances, insulated at its end."""
        tied = CoupledFin(0.08, 0.012, 1e9, 1.6, 1.0)
        ours = coupled_fin(tied, X, 100.0, 100.0)
        m = math.sqrt(tied.loss / (tied.gas_conductance + tied.wall_conductance))
        expected = 100 * np.cosh(m * (1 - X)) / math.cosh(m)
        # The lag of gas behind wall is b/a = 1.6e-9; the layer at the mouth is as thin.
        assert_allclose(ours.gas, expected, rtol=1e-7)


BASE = LinearDuct(650.0, 350.0, 0.9, 1.37, 289.0)


def integrated(temperature, length, ratio_times_constant, angular_frequency):
    """p and p' at the mouth by (T p')' + ω²/(γR) p = 0 from the cap, where p = 1, p' = 0."""
    solution = integrate.solve_ivp(
        lambda x, y: [
            y[1] / temperature(x),
            -(angular_frequency**2) / ratio_times_constant * y[0],
        ],
        (length, 0.0),
        [1.0, 0.0],
        **INTEGRATION,
    )
    pressure, flux = solution.y[:, -1]
    return pressure, flux / temperature(0.0)


class TestDucts:
    @pytest.mark.parametrize(
        "duct",
        [
            BASE,
            LinearDuct(900.0, 400.0, 0.9, 1.37, 289.0),
            LinearDuct(350.0, 650.0, 0.9, 1.37, 289.0),
            LinearDuct(293.0, 250.0, 3.0, 1.40, 287.0),
        ],
    )
    def test_linear_by_integration(self, duct):
        def temperature(x):
            gradient = (duct.cap_temperature - duct.mouth_temperature) / duct.length
            return duct.mouth_temperature + gradient * x

        for resonance in linear_duct_resonances(duct, 3):
            pressure, _ = integrated(
                temperature,
                duct.length,
                duct.heat_capacity_ratio * duct.gas_constant,
                2 * math.pi * resonance,
            )
            # Pressure at the cap is 1; the slope of p in ln f is near 1.5 to 8.
            assert_allclose(pressure, 0.0, atol=1e-9)

    @pytest.mark.parametrize("decay", [0.688, -0.688, 2.5])
    def test_exponential_by_integration(self, decay):
        resonances = exponential_duct_resonances(650.0, decay, 0.9, 1.37, 289.0, 3)
        for resonance in resonances:
            pressure, _ = integrated(
                lambda x: 650.0 * math.exp(-decay * x), 0.9, 1.37 * 289.0, 2 * math.pi * resonance
            )
            assert_allclose(pressure, 0.0, atol=1e-9)  # as above

    @pytest.mark.parametrize("duct", [BASE, LinearDuct(350.0, 650.0, 0.9, 1.37, 289.0)])
    def test_reactance_by_integration(self, duct):
        frequency = np.array([50.0, 120.0, 200.0, 300.0])
        gradient = (duct.cap_temperature - duct.mouth_temperature) / duct.length
        sound_speed = math.sqrt(1.37 * 289.0 * duct.mouth_temperature)
        for f, ours in zip(frequency, linear_duct_mouth_reactance(duct, frequency), strict=True):
            omega = 2 * math.pi * f
            pressure, slope = integrated(
                lambda x: duct.mouth_temperature + gradient * x, duct.length, 1.37 * 289.0, omega
            )
            assert_allclose(ours, -omega / sound_speed * pressure / slope, rtol=1e-9)  # integration

    def test_reactance_vanishes_at_resonance(self):
        resonances = linear_duct_resonances(BASE, 4)
        # Slope of the reactance in ln f is of order ten.
        assert_allclose(linear_duct_mouth_reactance(BASE, resonances), 0.0, atol=1e-10)

    def test_no_mode_is_missed(self):
        resonances = linear_duct_resonances(BASE, 40)
        assert np.all(np.diff(resonances) > 0)
        # High modes are those of the transit time alone: (n − 1/2)/(2τ).
        expected = (np.arange(1, 41) - 0.5) / (2 * BASE.transit_time)
        assert_allclose(resonances[20:], expected[20:], rtol=1e-3)

    def test_transit_time(self):
        expected, _ = integrate.quad(
            lambda x: 1 / math.sqrt(1.37 * 289.0 * (650 - 300 * x / 0.9)), 0, 0.9
        )
        assert_allclose(BASE.transit_time, expected, rtol=1e-12)

    def test_transit_time_rule_is_low(self):
        """Hot mouth, cold cap: the sum of travel times gives too low a resonance, by 6 % here."""
        rule = 1 / (4 * BASE.transit_time)
        assert_allclose(rule / linear_duct_resonances(BASE, 1)[0] - 1, -0.05962, atol=5e-6)

    def test_small_gradient_is_a_quarter_wave(self):
        duct = LinearDuct(300.01, 299.99, 0.9, 1.4, 287.0)
        sound_speed = math.sqrt(1.4 * 287.0 * 300.0)
        expected = [quarter_wave_frequency(0.9, sound_speed, mode) for mode in (1, 2, 3)]
        # First order in the gradient, 0.02/300, with a factor below a half.
        assert_allclose(linear_duct_resonances(duct, 3), expected, rtol=3e-5)


class TestUniform:
    def test_quarter_waves_are_odd(self):
        frequencies = [quarter_wave_frequency(0.5, 400.0, mode) for mode in (1, 2, 3)]
        assert_allclose(frequencies, [200.0, 600.0, 1000.0], rtol=1e-14)

    @pytest.mark.parametrize("mode", [1, 2, 3])
    def test_mouth_inertance(self, mode):
        resonance = quarter_wave_frequency_with_mouth(0.9, 0.015, 400.0, mode)
        k = 2 * math.pi * resonance / 400.0
        # −cot kL + kℓ = 0: reactances of tube and inertance cancel.
        assert_allclose(1 / math.tan(0.9 * k), 0.015 * k, rtol=1e-10)
        assert resonance < quarter_wave_frequency(0.9, 400.0, mode)

    def test_no_mouth_inertance(self):
        for mode in (1, 2):
            with_none = quarter_wave_frequency_with_mouth(0.9, 0.0, 400.0, mode)
            assert with_none == quarter_wave_frequency(0.9, 400.0, mode)

    def test_short_mouth_lengthens(self):
        ours = quarter_wave_frequency_with_mouth(0.9, 0.009, 400.0)
        # Lumped or lengthened differ by (kℓ)³/3 over kL: (π/2 · 0.01)³/3/(π/2) = 8e-7.
        assert_allclose(ours, quarter_wave_frequency(0.909, 400.0), rtol=1e-6)

    @pytest.mark.parametrize("area_ratio", [0.25, 1.0, 2.0])
    @pytest.mark.parametrize("loss", [3.0, 10.0, 20.0])
    def test_loss_at_the_edges_of_the_notch(self, area_ratio, loss):
        half = uniform_notch_width(area_ratio, loss) / 2
        edges = math.pi / 2 * np.array([1 - half, 1 + half])
        assert_allclose(uniform_transmission_loss(area_ratio, edges), loss, rtol=1e-12)  # rounding

    def test_no_loss_where_the_branch_is_half_a_wave(self):
        assert_allclose(uniform_transmission_loss(1.0, np.array([0.0, math.pi])), 0.0, atol=1e-12)
