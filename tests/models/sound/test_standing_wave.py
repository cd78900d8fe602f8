"""Standing wave, energy and reciprocity: what a passive duct must obey whatever its gas."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import integrate

from shared.ducts import (
    AREA,
    LENGTH,
    RADIUS,
    at_frequency,
    decaying,
    falling,
    local_line,
    mouth_line_impedance,
)
from warmbranch.gas.gas import dry_air_table
from warmbranch.sound.acoustics import Duct, input_impedance, standing_wave


def vars_of(duct):
    return {name: getattr(duct, name) for name in Duct.__dataclass_fields__}


class TestEnergy:
    """What goes in at the mouth is stored or turned to heat inside; nothing else."""

    def fine(self, build_duct, gas, **options):
        return build_duct(decaying, LENGTH, gas, cells=512, per_cell=4, **options)

    def integrals(self, duct, frequency):
        """|p|² and |U|² integrated over each cell, for a unit velocity at the mouth."""
        p, u = standing_wave(duct, np.array([frequency]))
        squares = [np.abs(value[0]) ** 2 for value in (p, u)]
        return [(v[1:] + v[:-1]) / 2 * duct.cell_length[0] for v in squares]

    def test_slope_of_the_reactance_is_the_energy_stored(self, build_duct, ideal_gas):
        """Foster's theorem: dX/dω = ∫ (ρ/S)|U|² + (S/γP₀)|p|² dx for |U| = 1 at the mouth."""
        duct = self.fine(build_duct, ideal_gas())
        for f in (60.0, 128.0, 330.0):
            below, above = at_frequency(duct, f * (1 - 1e-5), f * (1 + 1e-5))[0].imag
            slope = (above - below) / (2e-5 * 2 * np.pi * f)
            p2, u2 = self.integrals(duct, f)
            stored = np.sum(duct.density[0] / AREA * u2 + AREA / duct.bulk_modulus[0] * p2)
            # Trapezoids of 1/512 of the duct: (kΔx)²/12 of about 1e-6; central difference 1e-9.
            assert_allclose(slope, stored, rtol=1e-5)

    def test_resistance_is_the_heat_made_at_the_wall(self, build_duct):
        air = dry_air_table()
        duct = self.fine(build_duct, air, wall_losses=True)
        middles = decaying((np.arange(512) + 0.5) / 512 * LENGTH)
        for f in (60.0, 128.0, 330.0):
            p2, u2 = self.integrals(duct, f)
            series, shunt = local_line(f, middles, air, RADIUS)
            made = np.sum(series.real * u2 + shunt.real * p2)
            # As above, and the cell's mean gas against the gas of its middle.
            assert_allclose(at_frequency(duct, f)[0, 0].real, made, rtol=2e-5)

    def test_lossless_duct_takes_no_power(self, build_duct, ideal_gas):
        duct = build_duct(decaying, LENGTH, ideal_gas())
        p, u = standing_wave(duct, np.array([140.0]))
        power = np.real(p * np.conj(u))[0]
        assert np.max(np.abs(power)) < 1e-12 * np.max(np.abs(p[0]))  # rounding


class TestTransferMatrix:
    """The matrix of a stretch from what is seen with two different stretches behind it."""

    def two_loads(self, build_duct, gas, losses, f):
        """Matrix of the first of two cells; the second cell is the load, long or short."""
        ends = []
        for cap_part in (0.3, 0.8):
            duct = build_duct(falling, LENGTH, gas, cells=2, per_cell=40, wall_losses=losses)
            parts = vars_of(duct)
            parts["cell_length"] = duct.cell_length * np.array([[1.0, cap_part]])
            p, u = standing_wave(Duct(**parts), np.array([f]))
            ends.append((p[0, 0], u[0, 0], p[0, 1], u[0, 1]))
        mouth = np.array([[end[0] for end in ends], [end[1] for end in ends]])
        behind = np.array([[end[2] for end in ends], [end[3] for end in ends]])
        return mouth @ np.linalg.inv(behind)

    @pytest.mark.parametrize("losses", [False, True])
    @pytest.mark.parametrize("f", [80.0, 240.0])
    def test_reciprocal(self, build_duct, losses, f):
        matrix = self.two_loads(build_duct, dry_air_table(), losses, f)
        # Exact; two nearly parallel loads and entries of 1e6 and 1e-6 cost some digits.
        assert_allclose(np.linalg.det(matrix), 1.0, rtol=1e-10)
        assert abs(matrix[0, 0] - matrix[1, 1]) > 1e-3  # not symmetric: the gradient is there

    def test_lossless_parts_in_and_out_of_phase(self, build_duct):
        matrix = self.two_loads(build_duct, dry_air_table(), False, 150.0)
        scale = np.abs(matrix)
        in_phase, out_of_phase = np.diag(matrix), np.array([matrix[0, 1], matrix[1, 0]])
        # Real diagonal, imaginary rest: rounding, as above.
        assert (np.abs(in_phase.imag) < 1e-10 * np.diag(scale)).all()
        assert (np.abs(out_of_phase.real) < 1e-10 * np.abs(out_of_phase)).all()

    @pytest.mark.parametrize("losses", [False, True])
    def test_turned_round(self, build_duct, losses):
        """The matrix of the duct turned round has a and d changed over."""
        air, f = dry_air_table(), 170.0
        forward = build_duct(falling, LENGTH, air, per_cell=5, wall_losses=losses)
        parts = vars_of(forward)
        turned = {
            name: value[:, ::-1] if value.ndim == 2 else value for name, value in parts.items()
        }
        turned["skew"] = -turned["skew"]
        backward = Duct(**turned)
        falling_back = build_duct(
            lambda x: falling(LENGTH - x), LENGTH, air, per_cell=5, wall_losses=losses
        )
        # Rounding: the same integrals summed the other way about.
        assert_allclose(at_frequency(backward, f), at_frequency(falling_back, f), rtol=1e-10)
        # Reciprocity: the pressure at a cap that a velocity at the other end makes is one number.
        transfers = [standing_wave(duct, np.array([f]))[0][0, -1] for duct in (forward, backward)]
        assert_allclose(transfers[0], transfers[1], rtol=1e-11)  # rounding


class TestStandingWave:
    def test_belongs_to_the_input_impedance(self, build_duct):
        duct = build_duct(decaying, LENGTH, dry_air_table(), wall_losses=True, mouth_length=0.012)
        f = np.array([131.0])
        p, u = standing_wave(duct, f)
        inertance = 2j * np.pi * f * duct.mouth_inertance
        # Two orders of multiplying 32 matrices: rounding.
        assert_allclose(p[:, 0] + inertance, input_impedance(duct, f[:, None])[:, 0], rtol=1e-11)
        assert u[0, 0] == pytest.approx(1, rel=1e-15)  # a complex number over itself
        assert u[0, -1] == 0
        assert p.shape == u.shape == (1, 33)

    def test_uniform_lossless_shape(self, build_duct, ideal_gas):
        duct = build_duct(lambda x: 500.0, LENGTH, ideal_gas())
        p, u = standing_wave(duct, np.array([150.0]))
        wave_number = 2 * np.pi * 150.0 / math.sqrt(1.37 * 289.0 * 500.0)
        to_cap = LENGTH - np.linspace(0, LENGTH, 33)
        sine = np.sin(wave_number * LENGTH)
        assert_allclose(u[0], np.sin(wave_number * to_cap) / sine, rtol=0, atol=1e-12)  # rounding
        exact = -1j * mouth_line_impedance(500.0) * np.cos(wave_number * to_cap) / sine
        assert_allclose(p[0], exact, rtol=0, atol=1e-12 * abs(exact[-1]))  # rounding

    def test_against_integration(self, build_duct):
        """Pressure at the cap for a velocity at the mouth, through the whole gradient."""
        air = dry_air_table()
        duct = build_duct(decaying, LENGTH, air, cells=512, per_cell=8, wall_losses=True)

        def slope(x, state):
            series, shunt = (v[0] for v in local_line(200.0, np.array([decaying(x)]), air, RADIUS))
            return np.array([-series * state[1], -shunt * state[0]])

        solution = integrate.solve_ivp(
            slope, (LENGTH, 0.0), np.array([1.0 + 0j, 0j]), method="DOP853",
            rtol=1e-10, atol=[1e-11, 1e-17], t_eval=[LENGTH, LENGTH / 2, 0.0],
        )  # fmt: skip
        velocity = solution.y[1, -1]
        p, u = (value[0, [-1, 256, 0]] for value in standing_wave(duct, np.array([200.0])))
        # As TestAgainstIntegration; at the cap u is nothing.
        assert_allclose(p, solution.y[0] / velocity, rtol=1e-6)
        assert_allclose(u, solution.y[1] / velocity, rtol=1e-6, atol=1e-15)
