"""The open end against Levine and Schwinger's own solution; the tail against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import integrate, special

from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import Composition, dry_air_table
from warmbranch.sound.tail import JET_LENGTH, FarEnd, MainRun, open_end, unflanged_reflection, view


def levine_schwinger(ka: float) -> tuple[float, float]:
    """|R| and the end correction over the radius, by the integrals of 1948 (from memory)."""

    def angle(theta: float) -> float:
        x = ka * np.sin(theta)
        return np.arctan(-special.j1(x) / special.y1(x)) / np.sin(theta)

    def inner(theta: float) -> float:
        x = ka * np.sin(theta)
        modulus = np.hypot(special.j1(x), special.y1(x))
        return np.log(np.pi * special.j1(x) * modulus) / x

    def outer(x: float) -> float:
        # Scaled functions, whose exponentials cancel in the product.
        product = special.ive(1, x) * special.kve(1, x)
        return np.log(1 / (2 * product)) / (x * np.sqrt(x**2 + ka**2))

    half = np.pi / 2
    absorbed = integrate.quad(angle, 0, half)[0] * 2 / np.pi
    near = integrate.quad(inner, 0, half)[0] if ka > 0 else 0.0
    far = integrate.quad(outer, 0, np.inf, limit=400)[0]
    return float(np.exp(-absorbed)), float((near + far) / np.pi)


class TestOpenEnd:
    @pytest.mark.parametrize("ka", [0.05, 0.1, 0.2, 0.5, 1.0])
    def test_the_fit_against_the_integrals(self, ka):
        exact_magnitude, exact_length = levine_schwinger(ka)
        magnitude, length = unflanged_reflection(np.array([ka]))
        assert_allclose(magnitude, exact_magnitude, rtol=7e-3)  # what the docstring promises
        assert_allclose(length, exact_length, rtol=2.1e-2)

    def test_length_at_low_frequency(self):
        """The commonly printed 0.6133; the integral itself gives 0.6127."""
        assert_allclose(levine_schwinger(1e-4)[1], 0.6127, atol=5e-5)
        assert_allclose(unflanged_reflection(np.array([0.0]))[1], 0.6133, rtol=1e-12)

    def test_magnitude_at_low_frequency(self):
        """|R| = 1 − (ka)²/2 as ka goes to nothing: a small source's radiation."""
        ka = np.array([0.02, 0.05])
        magnitude, _ = unflanged_reflection(ka)
        assert_allclose(1 - magnitude, ka**2 / 2, rtol=0.05)

    def test_impedance_at_low_frequency(self):
        speed, radius = 340.0, 0.025
        frequency = np.array([20.0, 50.0])
        ka = 2 * np.pi * frequency / speed * radius
        impedance = open_end(frequency, radius, 1.2, speed, 1.2, speed)
        # Next order terms are ka itself.
        assert_allclose(impedance.real, ka**2 / 4, rtol=0.1)
        assert_allclose(impedance.imag, 0.6133 * ka, rtol=0.01)

    def test_cold_air_takes_up_more(self):
        """Same gas, hot inside: (T/T_o)^1.5 as ρ goes as 1/T and c as √T."""
        hot, cold = 550.0, 293.0
        frequency, radius = np.array([100.0]), 0.025
        speed = 20.05 * np.sqrt(hot)
        one = open_end(frequency, radius, 0.64, speed, 0.64, speed)
        two = open_end(
            frequency, radius, 0.64, speed, 0.64 * hot / cold, speed * np.sqrt(cold / hot)
        )
        assert_allclose(two.real / one.real, (hot / cold) ** 1.5, rtol=1e-12)
        assert_allclose(two.imag, one.imag, rtol=1e-12)

    def test_it_takes_up_sound(self):
        impedance = open_end(np.linspace(10, 400, 40), 0.03, 0.6, 480.0, 1.2, 343.0)
        assert np.all(impedance.real > 0)
        assert np.all(impedance.imag > 0)


def run(**changes) -> MainRun:
    given = {
        "length": 3.0,
        "bore": 0.0573,
        "gas": burnt_gas("petrol", 1.0),
        "pressure": 101325.0,
        "main_temperature": 550.0,
        "end_temperature": 550.0,
        "tail": 3.0,
        "air_temperature": 291.0,
    }
    return MainRun(**(given | changes))


class TestView:
    def test_uniform_tail_in_closed_form(self):
        """Z = Z₀ tanh(Γx + artanh(z)), Γ and Z₀ as the model itself has them far from both ends."""
        from warmbranch.gas.gas import MixtureTable
        from warmbranch.sound.viscothermal import line, wall_layers

        pipe, tones = run(), np.array([60.0, 100.0, 170.0])
        table = MixtureTable.of(pipe.gas)
        hot = np.array([[550.0]])
        state, density = table.evaluate(hot), table.density(hot, np.array([101325.0]))
        ratio = state.heat_capacity / (state.heat_capacity - table.gas_constant)
        prandtl = state.heat_capacity * state.viscosity / state.conductivity
        radius = np.array([[pipe.bore / 2]])
        layers = wall_layers(density, state.viscosity, prandtl, radius, np.array([[True]]))
        series, shunt = line(tones[None], density, ratio * 101325.0, layers, ratio - 1, radius)
        gamma, own = np.sqrt(series * shunt)[0], np.sqrt(series / shunt)[0]
        air = dry_air_table()
        outside = np.array([[291.0]])
        speed = table.sound_speed(hot)[0, 0]
        end = (density[0, 0] * speed / pipe.area) * open_end(
            tones,
            pipe.bore / 2,
            density[0, 0],
            speed,
            air.density(outside, np.array([101325.0]))[0, 0],
            air.sound_speed(outside)[0, 0],
        )
        position = np.array([0.2, 1.1, 2.4])
        expected = own * np.tanh(gamma * position[:, None] + np.arctanh(end / own))
        assert_allclose(view(pipe, position, tones).towards_tail, expected, rtol=1e-9)

    def test_first_node_is_half_a_wave_less_the_end_correction(self):
        """With Levine and Schwinger's correction, and wall layers that slow sound by 1 %."""
        pipe = run()
        density, speed = pipe.state(np.zeros(1))
        del density
        tone = np.array([100.0])
        position = np.linspace(0.0, 3.0, 3001)
        pressure = view(pipe, position, tone).pressure[:, 0]
        inside = (position > 1.0) & (position < 2.9)
        node = position[inside][np.argmin(pressure[inside])]
        half_wave = speed[0] / (2 * tone[0])
        expected = half_wave - levine_schwinger(1e-4)[1] * pipe.bore / 2
        # Layers slow the wave: Kirchhoff's α over k, 1 % for this bore and tone.
        assert 0.003 < 1 - node / expected < 0.015
        # Flow past the end moves the node by at most a third of the radius.
        assert (0.6133 - JET_LENGTH) * pipe.bore / 2 < 0.011

    def test_gradient_against_many_steps(self):
        pipe, tones = run(main_temperature=650.0, end_temperature=450.0), np.array([80.0, 140.0])
        coarse = view(pipe, np.linspace(0, 3.0, 49), tones).towards_tail[-1]
        fine = view(pipe, np.linspace(0, 3.0, 1537), tones).towards_tail[-1]
        # Uniform between positions: second order in their distance.
        assert_allclose(coarse, fine, rtol=2e-3)

    def test_gas_cools_along_the_tail_alone(self):
        pipe = run(main_temperature=650.0, end_temperature=450.0, tail=2.0)
        found = pipe.temperature(np.array([0.0, 0.5, 2.0, 3.0]))
        assert_allclose(found, [450.0, 500.0, 650.0, 650.0], rtol=1e-12)

    def test_without_reflection_the_source_is_the_pipe(self):
        pipe = run()
        density, speed = pipe.state(np.zeros(1))
        seen = view(pipe, np.array([0.5, 2.0]), np.array([100.0]))
        assert_allclose(seen.towards_source, density[0] * speed[0] / pipe.area, rtol=1e-12)

    def test_far_ends(self):
        """A closed end's impedance times that of a chamber is the line's own squared."""
        position, tones = np.linspace(0, 3.0, 301), np.array([100.0])
        closed = view(run(far_end=FarEnd.CLOSED), position, tones).towards_source
        volume = view(run(far_end=FarEnd.VOLUME), position, tones).towards_source
        density, speed = run().state(np.zeros(1))
        own = density[0] * speed[0] / run().area
        product = (closed[:-1] * volume[:-1])[:, 0] / own**2
        # ρ c leaves out the layers, which turn the line's own impedance by some percent.
        assert_allclose(product, 1.0, atol=0.05)
        assert_allclose(volume[-1], 0.0, atol=1e-12)
        assert np.isinf(closed[-1, 0])

    def test_a_reflecting_end_must_be_looked_at(self):
        with pytest.raises(ValueError, match="last position"):
            view(run(far_end=FarEnd.CLOSED), np.array([0.0, 1.0]), np.array([100.0]))

    def test_air_in_and_out(self):
        pipe = run(gas=Composition.dry_air(), main_temperature=293.0, end_temperature=293.0)
        seen = view(pipe, np.array([0.0, 1.0]), np.array([100.0]))
        assert np.all(np.isfinite(seen.towards_tail))
