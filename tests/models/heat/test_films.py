"""Correlations against the library ht; the film's value, slope and limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.case.surroundings import Surroundings
from warmbranch.gas.gas import dry_air_table
from warmbranch.heat import nusselt, nusselt_with_slopes
from warmbranch.heat.films import OutsideFilm

ROUNDING = 1e-12
"""Our roots of roots and the library's powers differ in the last digits only."""

RAYLEIGH = np.logspace(-2, 12, 15)
PRANDTL = np.array([0.65, 0.70, 0.75])[:, None]
AIR = 295.15
NAN = math.nan


@pytest.fixture(scope="module")
def ht():
    """Imported by the tests that need it and no others."""
    import ht

    return ht


def of_ht(function, *arguments):
    return np.vectorize(function)(*arguments)


def outside_film(
    designs=1,
    *,
    air_temperature=AIR,
    air_speed=0.0,
    diameter=0.0508,
    length=0.9,
    rise=0.0,
    factor=1.0,
    fixed=NAN,
    pressure=101325.0,
):
    def column(value):
        return np.broadcast_to(np.asarray(value, dtype=float), designs).copy()

    surroundings = Surroundings(
        column(air_temperature), column(air_temperature), column(pressure), column(air_speed)
    )
    return OutsideFilm(
        dry_air_table(),
        surroundings,
        outside_diameter=column(diameter),
        length=column(length),
        rise=column(rise),
        factor=column(factor),
        fixed=column(fixed),
    )


class TestCorrelations:
    def test_level_cylinder(self, ht):
        expected = of_ht(
            ht.conv_free_immersed.Nu_horizontal_cylinder_Churchill_Chu, PRANDTL, RAYLEIGH / PRANDTL
        )
        ours = nusselt.nusselt_horizontal_cylinder_natural(RAYLEIGH, PRANDTL)
        assert_allclose(ours, expected, rtol=ROUNDING)

    def test_vertical_plate(self, ht):
        expected = of_ht(
            ht.conv_free_immersed.Nu_vertical_plate_Churchill, PRANDTL, RAYLEIGH / PRANDTL
        )
        ours = nusselt.nusselt_vertical_plate_natural(RAYLEIGH, PRANDTL)
        assert_allclose(ours, expected, rtol=ROUNDING)

    @pytest.mark.parametrize("slenderness", [2.0, 18.0, 100.0])
    def test_vertical_cylinder(self, slenderness, ht):
        grashof = np.logspace(6, 12, 13)
        curvature = math.sqrt(32) * grashof**-0.25 * slenderness
        grashof = grashof[curvature < 2]
        expected = of_ht(
            ht.conv_free_immersed.Nu_vertical_cylinder_Popiel_Churchill,
            0.7,
            grashof,
            slenderness,
            1,
        )
        ours = nusselt.nusselt_vertical_cylinder_natural(
            grashof * 0.7, np.array(0.7), np.array(slenderness)
        )
        # Ours ends at a curvature of 10: at 2 that takes 2^4/10^4/4 = 0.04 % of the curvature,
        # which makes up less than half of the Nusselt number.
        assert_allclose(ours, expected, rtol=2e-4)

    def test_vertical_cylinder_stays_finite_without_excess(self):
        ours = nusselt.nusselt_vertical_cylinder_natural(
            np.array([0.0]), np.array([0.7]), np.array([18.0])
        )
        # The plate's 0.825² times the published correction at the curvature 10.
        strength = 0.0571322 + 0.20305 * 0.7**-0.43
        exponent = 0.9165 - 0.0043 * 0.7**0.5 + 0.01333 * math.log(0.7) + 0.0004809 / 0.7
        assert_allclose(ours, 0.825**2 * (1 + strength * 10**exponent), rtol=ROUNDING)

    def test_cross_flow(self, ht):
        reynolds = np.logspace(0, 6, 13)
        expected = of_ht(ht.conv_external.Nu_cylinder_Churchill_Bernstein, reynolds, PRANDTL)
        assert_allclose(nusselt.nusselt_cross_flow(reynolds, PRANDTL), expected, rtol=ROUNDING)

    def test_turbulent_pipe(self, ht):
        reynolds = np.logspace(3.5, 6.5, 13)
        friction = (0.79 * np.log(reynolds) - 1.64) ** -2
        expected = of_ht(ht.conv_internal.turbulent_Gnielinski, reynolds, PRANDTL, friction)
        ours = nusselt.nusselt_pipe_turbulent(reynolds, PRANDTL)
        assert_allclose(ours, expected, rtol=ROUNDING)

    def test_pipe_is_continuous(self):
        for edge in (nusselt.LAMINAR_LIMIT, nusselt.TURBULENT_LIMIT):
            at = np.array([edge - 1e-6, edge, edge + 1e-6])
            ours = nusselt.nusselt_pipe(at, np.array(0.7))
            # Slope of some 0.006 a unit of Re over 2e-6.
            assert_allclose(ours, ours[1], rtol=1e-8)

    def test_pipe_at_rest_is_laminar(self):
        ours = nusselt.nusselt_pipe(np.array([0.0, 1.0]), np.array(0.7))
        assert_allclose(ours, nusselt.NUSSELT_LAMINAR, rtol=ROUNDING)

    def test_laminar_is_the_rounded_exact_value(self, ht):
        assert_allclose(nusselt.NUSSELT_LAMINAR, ht.conv_internal.laminar_T_const(), rtol=1e-12)

    @pytest.mark.parametrize(
        ("sloped", "first"),
        [
            (lambda a, p: nusselt_with_slopes.sloped_churchill_chu(a, p, 0.60, 0.559), RAYLEIGH),
            (
                lambda a, p: nusselt_with_slopes.sloped_vertical_cylinder(a, p, np.array(18.0)),
                RAYLEIGH,
            ),
            (nusselt_with_slopes.sloped_cross_flow, np.logspace(0, 6, 13)),
        ],
        ids=["Churchill-Chu", "vertical cylinder", "cross flow"],
    )
    def test_slopes(self, sloped, first):
        step = 1e-5
        up, down = math.exp(step), math.exp(-step)
        exact = sloped(first, PRANDTL)
        in_first = (sloped(first * up, PRANDTL).value - sloped(first * down, PRANDTL).value) / 2
        in_prandtl = (sloped(first, PRANDTL * up).value - sloped(first, PRANDTL * down).value) / 2
        # Central differences: rounding 1e-16/1e-5 and third derivatives times 1e-10.
        assert_allclose(exact.slope_first, in_first / step, rtol=1e-8, atol=1e-10)
        assert_allclose(exact.slope_prandtl, in_prandtl / step, rtol=1e-8, atol=1e-10)


SKIN = np.array([[230.0, 280.0, 300.0, 350.0, 450.0, 650.0, 900.0, 1200.0]])


class TestValue:
    """The film is the correlations, put together from the air's own properties."""

    def expected(self, ht, *, speed, rise, diameter=0.0508, length=0.9, pressure=101325.0):
        film_temperature = (SKIN + AIR) / 2
        air = dry_air_table()
        state = air.evaluate(film_temperature)
        density = pressure / (air.gas_constant[0] * film_temperature)
        viscosity = state.viscosity / density
        prandtl = state.heat_capacity * state.viscosity / state.conductivity
        per_volume = 9.80665 / film_temperature * np.abs(SKIN - AIR) / viscosity**2
        level = of_ht(
            ht.conv_free_immersed.Nu_horizontal_cylinder_Churchill_Chu,
            prandtl,
            per_volume * diameter**3,
        )
        upright = of_ht(
            ht.conv_free_immersed.Nu_vertical_cylinder_Popiel_Churchill,
            prandtl,
            per_volume * length**3,
            length,
            diameter,
        )
        natural = level / diameter * math.cos(rise) ** 2 + upright / length * math.sin(rise) ** 2
        forced = 0.0
        if speed:
            reynolds = speed * diameter / viscosity
            forced = of_ht(ht.conv_external.Nu_cylinder_Churchill_Bernstein, reynolds, prandtl)
        return state.conductivity * (natural**4 + (forced / diameter) ** 4) ** 0.25

    @pytest.mark.parametrize("speed", [0.0, 0.3, 4.0, 60.0])
    @pytest.mark.parametrize("rise_deg", [0.0, 30.0, 90.0, -90.0])
    def test_against_ht(self, speed, rise_deg, ht):
        rise = math.radians(rise_deg)
        film = outside_film(air_speed=speed, rise=rise)
        # A level tube: rounding. Upright: our curvature ends at 10, see TestCorrelations.
        tolerance = 1e-11 if rise == 0 else 2e-4
        expected = self.expected(ht, speed=speed, rise=rise)
        assert_allclose(film.coefficient(SKIN), expected, rtol=tolerance)

    def test_pressure_thickens_the_air(self, ht):
        film = outside_film(pressure=200e3, air_speed=2.0)
        expected = self.expected(ht, speed=2.0, rise=0.0, pressure=200e3)
        assert_allclose(film.coefficient(SKIN), expected, rtol=1e-11)  # rounding

    def test_flux_is_coefficient_times_excess(self):
        film = outside_film(air_speed=1.0, rise=0.4)
        flux, _ = film.flux(SKIN)
        assert_allclose(flux, film.coefficient(SKIN) * (SKIN - AIR), rtol=ROUNDING)
        assert np.array_equal(np.sign(flux), np.sign(SKIN - AIR))

    def test_factor_multiplies(self):
        plain, lifted = outside_film(), outside_film(factor=1.7)
        assert_allclose(lifted.coefficient(SKIN), 1.7 * plain.coefficient(SKIN), rtol=ROUNDING)

    def test_fixed_replaces_all(self):
        film = outside_film(fixed=12.0, factor=3.0, air_speed=10.0)
        flux, slope = film.flux(SKIN)
        assert_allclose(flux, 12.0 * (SKIN - AIR), rtol=ROUNDING)
        assert_allclose(slope, 12.0, rtol=ROUNDING)

    def test_inclination_joins_both_ends(self):
        level, upright = outside_film().coefficient(SKIN), outside_film(rise=math.pi / 2)
        between = outside_film(rise=math.pi / 4).coefficient(SKIN)
        assert_allclose(between, (level + upright.coefficient(SKIN)) / 2, rtol=ROUNDING)


DESIGNS = {
    "air_temperature": [AIR, 250.0, 320.0, AIR, AIR, 300.0, AIR],
    "air_speed": [0.0, 0.0, 0.5, 4.0, 40.0, 3.0, 2.0],
    "rise": [0.0, 0.7, -0.5, 0.0, math.pi / 2, -math.pi / 2, 0.1],
    "diameter": [0.015, 0.0508, 0.15, 0.05, 0.06, 0.05, 0.05],
    "length": [0.3, 3.0, 1.0, 0.9, 0.9, 0.4, 0.9],
    "factor": [1.0, 0.6, 1.7, 1.0, 1.0, 1.3, 1.0],
    "fixed": [NAN, NAN, NAN, NAN, NAN, NAN, 25.0],
    "pressure": [101325.0, 50e3, 200e3, 101325.0, 90e3, 101325.0, 101325.0],
}


class TestSlope:
    @pytest.mark.parametrize("temperature", [240.0, 285.0, 310.0, 400.0, 700.0, 1200.0])
    def test_against_central_differences(self, temperature):
        film = outside_film(7, **DESIGNS)
        skin = np.full((7, 1), temperature)
        step = 1e-3
        numeric = (film.flux(skin + step)[0] - film.flux(skin - step)[0]) / (2 * step)
        # Rounding 1e-16·q/(h·step) is below 1e-10; curvature step²/6·h'''/h, near the air's
        # temperature (5 K away at least) where h varies as its sixth root, is below 1e-8.
        assert_allclose(film.flux(skin)[1], numeric, rtol=2e-8)

    def test_right_at_the_air_temperature(self):
        film = outside_film(2, rise=[0.0, math.pi / 2])
        skin = np.full((2, 1), AIR)
        flux, slope = film.flux(skin)
        assert np.all(flux == 0)
        assert np.all(np.isfinite(slope))
        # There the film's own change carries no heat: the slope is the coefficient itself.
        assert_allclose(slope, film.coefficient(skin), rtol=ROUNDING)
        conductivity = dry_air_table().evaluate(np.array([[AIR]])).conductivity[0, 0]
        assert_allclose(slope[0, 0], 0.6**2 * conductivity / 0.0508, rtol=ROUNDING)

    def test_continuous_through_the_air_temperature(self):
        film = outside_film()
        for side in (-1, 1):
            slope = film.flux(np.array([[AIR + side * 1e-12 * AIR]]))[1]
            # The sixth root is steep: 3e-10 K of excess already adds Ra^(1/6) of a tenth.
            assert_allclose(slope, film.flux(np.array([[AIR]]))[1], rtol=0.2)

    def test_slope_is_never_below_the_coefficient(self):
        """Heat loss grows faster than in proportion to the excess while air thins slowly."""
        film = outside_film()
        skin = np.linspace(AIR, 600.0, 50)[None]
        assert np.all(film.flux(skin)[1] >= film.coefficient(skin) * (1 - ROUNDING))


class TestBatch:
    def test_designs_do_not_mix(self):
        together = outside_film(7, **DESIGNS)
        skin = np.linspace(240.0, 1000.0, 11) + np.arange(7)[:, None]
        flux, slope = together.flux(skin)
        for i in range(7):
            alone = outside_film(**{name: values[i] for name, values in DESIGNS.items()})
            own_flux, own_slope = alone.flux(skin[i : i + 1])
            # In a batch the parts that this design lacks are added with weight zero.
            assert_allclose(flux[i : i + 1], own_flux, rtol=ROUNDING)
            assert_allclose(slope[i : i + 1], own_slope, rtol=ROUNDING)

    def test_still_air_forces_nothing(self):
        mixed = outside_film(2, air_speed=[0.0, 10.0])
        skin = np.repeat(SKIN, 2, axis=0)
        alone = outside_film().coefficient(SKIN)
        assert_allclose(mixed.coefficient(skin)[:1], alone, rtol=ROUNDING)
        assert np.all(mixed.coefficient(skin)[1:] > 2 * alone)


class TestRangeReport:
    def test_still_air(self):
        report = outside_film().range_report(np.linspace(300.0, 900.0, 61)[None])
        assert report.reynolds_max == 0
        assert np.isinf(report.peclet_min)
        # This very tube in air at 22 °C peaks near 200 °C at 7.03e5, worked with CoolProp's air,
        # whose transport properties differ from our mixture rules by up to 2 % each.
        assert_allclose(report.rayleigh_max, 7.03e5, rtol=0.04)

    def test_upright_tubes_count_their_length(self):
        level, upright = outside_film(), outside_film(rise=0.2)
        ratio = upright.range_report(SKIN).rayleigh_max / level.range_report(SKIN).rayleigh_max
        assert_allclose(ratio, (0.9 / 0.0508) ** 3, rtol=ROUNDING)

    def test_wind(self):
        report = outside_film(air_speed=0.001).range_report(SKIN)
        # 1 mm/s round a 51 mm tube: V D/ν of cold air is 4, of film at 750 K 0.7.
        assert 3 < report.reynolds_max[0] < 5
        assert 0.3 < report.peclet_min[0] < 0.7
