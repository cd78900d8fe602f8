"""Each caution called out by a case that deserves it, and silent for one that does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from warmbranch.case.closures import MouthModel
from warmbranch.case.materials import Metal
from warmbranch.gas.gas import Composition, MixtureTable
from warmbranch.steady import cautions
from warmbranch.steady.cautions import LEAK_DIAMETER, findings, leak_shift
from warmbranch.steady.solve import solve


def found(case):
    (only,) = findings(solve(case))
    return {finding.code: finding for finding in only}


DRY = Composition.dry_air()

# Code, changes that call for it, changes that do not.
CALLS = {
    "mouth_colder_than_air": ({"gas_temperature": 280.0}, {"gas_temperature": 300.0}),
    # Stoichiometric petrol gas has its dew point at 50 °C; air has none.
    "condensation": ({}, {"gas": DRY}),
    "material_limit": ({"gas_temperature": 1270.0, "skin_temperature": 1260.0}, {}),
    "mach_number": ({"mass_flow": 0.4}, {"mass_flow": 0.1}),
    "mouth_correction_range": (
        {"outside_diameter": 0.06},
        {"outside_diameter": 0.06, "mouth_model": MouthModel.FLANGED},
    ),
    # The branch of 1 m sounds at 89 Hz: f d / U is 0.49 at 8.7 m/s, 0.9 at 4.7 m/s.
    "whistling": ({}, {"mass_flow": 10 / 3600}),
    "whistling_weak": ({"mass_flow": 32 / 3600}, {"mass_flow": 5 / 3600}),
    "leaning_mouth": ({"lean": 0.6}, {"lean": 0.05}),
    # The hole is there in every branch; its answer is what matters.
    "leak_sensitivity": ({}, None),
}


@pytest.mark.parametrize("code", CALLS)
def test_called_for(make_case, code):
    assert code in found(make_case(**CALLS[code][0]))


@pytest.mark.parametrize("code", [code for code, calls in CALLS.items() if calls[1] is not None])
def test_not_called_for(make_case, code):
    assert code not in found(make_case(**CALLS[code][1]))


class TestNumbers:
    def test_condensation_says_from_where(self, make_case):
        case = make_case()
        answer = solve(case)
        finding = found(case)["condensation"]
        wall, x = answer.profile.wall[0], answer.profile.position[0]
        dew, start = finding.numbers["dew_point"], finding.numbers["from_position"]
        assert_allclose(dew - 273.15, 50.4, atol=0.3)  # 50.39 °C by an independent table
        # The first place where water condenses, beyond where the wall falls below the dew point:
        # the gas that gets there is drier.
        assert x[np.argmax(answer.condensing[0] > 0)] == start > x[np.argmax(wall < dew)]
        assert finding.numbers["coldest_wall"] == wall.min()
        assert finding.numbers["heat_counted"]

    def test_gas_that_does_not_dry_is_wet_from_its_own_dew_point_on(self, make_case):
        case = make_case(condensation=False)
        answer = solve(case)
        numbers = found(case)["condensation"].numbers
        wall, x, start = (
            answer.profile.wall[0],
            answer.profile.position[0],
            numbers["from_position"],
        )
        assert np.all(wall[x < start] >= answer.dew_point[0])
        assert wall[x == start] < answer.dew_point[0]
        assert not numbers["heat_counted"]

    def test_no_condensation_on_a_wall_above_the_dew_point(self, make_case):
        warm = make_case(
            gas_temperature=500.0, length=0.2, wrap_thickness=0.05, wrap_conductivity=0.02
        )
        answer = solve(warm)
        assert answer.profile.wall.min() > answer.dew_point[0]
        assert "condensation" not in found(warm)

    def test_material_limit_is_the_metals_own(self, make_case):
        case = make_case(**CALLS["material_limit"][0])
        numbers = found(case)["material_limit"].numbers
        assert numbers["hottest_wall"] > numbers["limit"] == case.metal.limit_temperature[0]
        unknown = replace(case, metal=Metal.constant(16.0, 7900.0, 500.0))
        assert "material_limit" not in found(unknown)

    def test_mach_number(self, make_case):
        answer = solve(make_case(mass_flow=0.4))
        finding = found(make_case(mass_flow=0.4))["mach_number"]
        assert_allclose(
            finding.numbers["mach"], answer.main_speed[0] / answer.main_sound_speed[0], rtol=1e-12
        )
        assert finding.numbers["mach"] > 0.3

    def test_whistling_is_told_by_mode(self, make_case):
        """Strouhal numbers of the three modes at 8.7 m/s: 0.49, 1.44, 2.39."""
        case = make_case()
        answer = solve(case)
        strouhal = answer.resonance[0] * case.branch.bore[0] / answer.main_speed[0]
        told = [
            (f.numbers["mode"], f.numbers["strouhal"])
            for f in findings(answer)[0]
            if f.code in ("whistling", "whistling_weak")
        ]
        expected = [
            (mode, s)
            for mode, s in enumerate(strouhal, start=1)
            if 0.25 <= s <= 0.65 or 0.70 <= s <= 1.10
        ]
        assert len(told) == len(expected) == 1
        assert_allclose(told, expected, rtol=1e-12)

    def test_no_flow_no_whistle(self, make_case):
        assert not {"whistling", "whistling_weak"} & found(make_case(mass_flow=0.0)).keys()

    def test_plane_wave_limit_is_the_first_cross_mode(self, make_case):
        """1.8412 c/(2π a) with the coldest gas, which has the slowest sound.

        Three bores of length keep three resonances of a uniform branch at 0.71 of it, so that a
        resonance must be moved by hand to get there.
        """
        answer = solve(make_case())
        radius = answer.case.branch.bore[0] / 2
        cut_on = 1.8412 * answer.sound_speed.min() / (2 * np.pi * radius)
        below, above = (
            replace(answer, resonance=np.array([[100.0, 200.0, factor * cut_on]]))
            for factor in (0.999, 1.001)
        )
        (numbers,) = [f.numbers for f in findings(above)[0] if f.code == "plane_wave_limit"]
        assert_allclose(numbers["cut_on"], cut_on, rtol=1e-12)
        assert_allclose(numbers["frequency"], 1.001 * cut_on, rtol=1e-12)
        assert "plane_wave_limit" not in {f.code for f in findings(below)[0]}

    def test_overdamped_modes_are_named(self, make_case):
        """Losses that leave no resonance are beyond the box: one is taken away by hand."""
        answer = solve(make_case())
        quiet = replace(answer, resonance=np.array([[answer.resonance[0, 0], np.nan, np.nan]]))
        modes = [f.numbers["mode"] for f in findings(quiet)[0] if f.code == "overdamped"]
        assert modes == [2.0, 3.0]
        assert "overdamped" not in {f.code for f in findings(answer)[0]}


def ranges(case):
    return {
        name
        for finding in findings(solve(case))[0]
        if finding.code == "correlation_range"
        for name in finding.numbers
        if name != "bound"
    }


class TestCorrelationRanges:
    @pytest.mark.parametrize(
        ("name", "beyond"),
        [
            # Upright, 3 m tall and hot: the height is what the Rayleigh number is made with.
            (
                "rayleigh",
                {
                    "rise": np.pi / 2,
                    "length": 3.0,
                    "gas_temperature": 1200.0,
                    "fixed_diffusivity": 1.0,
                    "outside_diameter": 0.15,
                    "pressure": 2e5,
                    "air_temperature": 233.15,
                    "air_speed": 0.0,
                },
            ),
            ("inverse_peclet", {"air_speed": 5e-324}),
            ("inverse_peclet", {"air_speed": 1e-5}),
            ("main_pipe_reynolds", {"mass_flow": 6.0}),
            ("reynolds", {"air_speed": 60.0, "outside_diameter": 0.15, "pressure": 2e5}),
        ],
    )
    def test_beyond(self, make_case, monkeypatch, name, beyond):
        if name in ("rayleigh", "reynolds"):
            # No tube of the box leaves these correlations: hold the bound below what it reaches.
            monkeypatch.setattr(cautions, "NATURAL_RAYLEIGH", 1e9)
            monkeypatch.setattr(cautions, "CROSS_FLOW_REYNOLDS", 1e6)
        assert name in ranges(make_case(**beyond))
        assert ranges(make_case()) == set()

    def test_films_that_are_not_used_have_no_range(self, make_case):
        slow = {"air_speed": 1e-5, "mass_flow": 6.0}
        assert ranges(make_case(**slow)) == {"inverse_peclet", "main_pipe_reynolds"}
        assert ranges(make_case(fixed_outer_film=10.0, **slow)) == {"main_pipe_reynolds"}
        assert ranges(make_case(skin_temperature=400.0, **slow)) == {"inverse_peclet"}


class TestLeak:
    @pytest.mark.parametrize("length", [0.5, 1.0, 3.0])
    @pytest.mark.parametrize("cap", [1e-3, 20e-3])
    def test_against_a_tube_with_a_hole(self, make_case, length, cap):
        """Uniform, without losses, no pressure at the mouth: tan kL = −ωL_h/Z_c, exactly.

        Z_in = 0 of a tube that ends in the hole's inertance L_h: jωL_h + jZ_c tan kL = 0.
        """
        case = make_case(
            length=length,
            cap_thickness=cap,
            gas_temperature=300.0,
            air_temperature=300.0,
            fixed_mouth_length=0.0,
            wall_losses=False,
        )
        gas = MixtureTable.of(case.gas)
        hot = np.array([[300.0]])
        sound, density = gas.sound_speed(hot)[0, 0], gas.density(hot, np.array([101325.0]))[0, 0]
        hole = density * (cap + 0.85 * LEAK_DIAMETER) / (np.pi / 4 * LEAK_DIAMETER**2)
        characteristic = density * sound / case.branch.bore_area[0]

        def condition(phase):
            omega = phase * sound / length
            return characteristic * np.sin(phase) + omega * hole * np.cos(phase)

        phase = brentq(condition, np.pi / 2, np.pi * 0.99, xtol=1e-14)
        exact = phase / (np.pi / 2) - 1
        # First order in the shift s: ω²L_h C δ = ½ gives s, the exact root s(1 − O(s)).
        assert_allclose(leak_shift(solve(case)), exact, rtol=1.5 * exact + 1e-4)

    def test_unknown_where_there_is_no_resonance(self, make_case):
        answer = solve(make_case())
        assert np.isnan(leak_shift(replace(answer, resonance=np.full((1, 3), np.nan)))[0])

    def test_reported_number(self, make_case):
        answer = solve(make_case())
        (finding,) = [f for f in findings(answer)[0] if f.code == "leak_sensitivity"]
        assert_allclose(finding.numbers["relative_shift"], leak_shift(answer)[0], rtol=1e-12)
        assert finding.numbers["hole_diameter"] == LEAK_DIAMETER


def test_each_design_has_its_own(make_case):
    answer = solve(make_case(gas_temperature=np.array([280.0, 423.15])))
    codes = [{f.code for f in found} for found in findings(answer)]
    assert "mouth_colder_than_air" in codes[0]
    assert "mouth_colder_than_air" not in codes[1]
