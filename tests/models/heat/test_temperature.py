"""Steady temperatures against exact solutions and what physics demands."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from closed_forms import CoupledFin, coupled_fin
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.case.materials import Metal
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat import newton
from warmbranch.heat import temperature as steady
from warmbranch.heat.discretise import heat_balance
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.temperature import solve_steady


def profile_of(case, nodes=161):
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    return solve_steady(heat_balance(case, gas, air, speed, nodes=nodes), wall)


# --- gas and wall of constant properties -----------------------------------------------------

AIR = 350.0
GAS_EXCESS = 1e-3
"""K above the air: gas properties change by 3e-6 over it, and rounding of 350 K is 6e-11 of it."""


class Constants(NamedTuple):
    """Coefficients of K_g T_g'' = a (T_g − T_w), K_w T_w'' = a (T_w − T_g) + b T_w, and what the
    cap takes: g_i (T_g − T_w) from gas to wall, g_o T_w to the air."""

    gas: float
    wall: float
    exchange: float
    loss: float
    cap_inside: float
    cap_outside: float
    length: float


def constants_of(case) -> Constants:
    branch, closures = case.branch, case.closures
    gas = MixtureTable.of(case.gas)
    at = np.array([[AIR]])
    state = gas.evaluate(at)
    volumetric = gas.density(at, case.surroundings.pressure) * state.heat_capacity
    conductivity = (state.conductivity + volumetric * closures.fixed_diffusivity)[0, 0]
    bore, outside = branch.bore[0], branch.outside_diameter[0]
    inner, outer = closures.fixed_inner_film[0], closures.fixed_outer_film[0]
    return Constants(
        gas=conductivity * np.pi / 4 * bore**2,
        wall=case.metal.conductivity(at)[0, 0] * np.pi / 4 * (outside**2 - bore**2),
        exchange=inner * np.pi * bore,
        loss=outer * np.pi * outside,
        cap_inside=inner * np.pi / 4 * bore**2,
        cap_outside=outer * np.pi / 4 * outside**2,
        length=branch.length[0],
    )


def exact(c: Constants, x, gas_excess, wall_excess):
    """Two exponentials from each end, joined to mouth and cap; and the heat that enters."""
    matrix = np.array(
        [
            [c.exchange / c.gas, -c.exchange / c.gas],
            [-c.exchange / c.wall, (c.exchange + c.loss) / c.wall],
        ]
    )
    squares, vectors = np.linalg.eig(matrix)
    mu = np.sqrt(squares)

    def basis(position):
        """Values and slopes of the four solutions, (gas or wall, solution) each."""
        falling, rising = np.exp(-mu * position), np.exp(-mu * (c.length - position))
        value = np.hstack([vectors * falling, vectors * rising])
        return value, np.hstack([-vectors * mu * falling, vectors * mu * rising])

    mouth, mouth_slope = basis(0.0)
    cap, cap_slope = basis(c.length)
    conditions = np.stack(
        [
            mouth[0],
            mouth[1],
            c.gas * cap_slope[0] + c.cap_inside * (cap[0] - cap[1]),
            c.wall * cap_slope[1] - c.cap_inside * (cap[0] - cap[1]) + c.cap_outside * cap[1],
        ]
    )
    shares = np.linalg.solve(conditions, [gas_excess, wall_excess, 0.0, 0.0])
    values = np.stack([basis(position)[0] @ shares for position in x])
    entering = -(np.array([c.gas, c.wall]) * (mouth_slope @ shares)).sum()
    return values[:, 0], values[:, 1], entering


def constant_case(make_case, length=0.6, wall_excess=0.6, **changes):
    return make_case(
        length=length,
        gas_temperature=AIR + GAS_EXCESS,
        skin_temperature=AIR + wall_excess * GAS_EXCESS,
        air_temperature=AIR,
        emissivity=0.0,
        **(
            {"fixed_diffusivity": 0.02, "fixed_inner_film": 8.0, "fixed_outer_film": 14.0} | changes
        ),
    )


def excess(profile):
    return (profile.gas[0] - AIR) / GAS_EXCESS, (profile.wall[0] - AIR) / GAS_EXCESS


class TestConstantProperties:
    def test_exact_solution_without_a_cap_is_the_closed_form(self):
        """Ties the solution above, with its cap, to the one that the package publishes."""
        c = Constants(0.08, 0.012, 0.6, 1.6, 0.0, 0.0, 1.0)
        x = np.linspace(0, 1, 11)
        theirs = coupled_fin(CoupledFin(0.08, 0.012, 0.6, 1.6, 1.0), x, 128.0, 60.0)
        gas, wall, entering = exact(c, x, 128.0, 60.0)
        assert_allclose(gas, theirs.gas, rtol=1e-11)  # rounding
        assert_allclose(wall, theirs.wall, rtol=1e-11)
        assert_allclose(entering, theirs.entering, rtol=1e-11)

    @pytest.mark.parametrize(
        "changes",
        [
            {},
            {"length": 0.15},  # the cap's loss is a quarter of the heat
            {"length": 0.15, "fixed_outer_film": 400.0, "fixed_inner_film": 60.0},
            {"length": 1.5, "fixed_diffusivity": 0.2},
            {"fixed_diffusivity": 1e-4, "wall_excess": 1.5},  # the wall heats the gas
            {"metal": Metal.constant(300.0, 8000.0, 400.0)},
        ],
    )
    def test_temperatures_and_heat(self, make_case, changes):
        case = constant_case(make_case, **changes)
        coarse, fine = profile_of(case, 641), profile_of(case, 1281)
        gas, wall, entering = exact(
            constants_of(case), coarse.position[0], 1.0, changes.get("wall_excess", 0.6)
        )
        # Second-order errors removed by extrapolation; properties vary by 3e-6, and rounding
        # of 350 K, 6e-11 of the excess, is amplified by (decay length / spacing)², < 1e5.
        for i, expected in enumerate((gas, wall)):
            found = (4 * excess(fine)[i][::2] - excess(coarse)[i]) / 3
            assert_allclose(found, expected, atol=1e-5)
        heat = (4 * fine.heat_entering[0] - coarse.heat_entering[0]) / 3 / GAS_EXCESS
        # At the mouth the slopes, hence the heat, are largest and converge last.
        assert_allclose(heat, entering, rtol=1e-4)

    def test_second_order_of_convergence(self, make_case):
        # Steep enough that the errors, 1e-3 to 1e-5, stand clear of the properties' 3e-7.
        case = constant_case(make_case, fixed_diffusivity=0.005)
        errors = []
        for nodes in (41, 81, 161):
            profile = profile_of(case, nodes)
            gas, wall, _ = exact(constants_of(case), profile.position[0], 1.0, 0.6)
            found = excess(profile)
            errors.append([np.abs(found[0] - gas).max(), np.abs(found[1] - wall).max()])
        order = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
        # Theory 2; the error's next term makes a few hundredths on these grids.
        assert_allclose(order, 2.0, atol=0.1)

    def test_a_fin_with_a_convecting_tip(self, make_case):
        """The gas cut off by a tiny film: the wall is a fin that ends in a disc.

        cosh m(L−x) + H sinh m(L−x) over the same at x = 0, with H = (cap's loss)/(m k A_w):
        Incropera, table 3.4, case A, from memory.
        """
        # Nothing varies in the wall, so the excess may be 100 K.
        case = make_case(
            length=0.15,
            gas_temperature=AIR + 100,
            skin_temperature=AIR + 100,
            air_temperature=AIR,
            emissivity=0.0,
            metal=Metal.constant(50.0, 8000.0, 400.0),
            fixed_diffusivity=0.0,
            fixed_inner_film=1e-9,  # beside 10 outside
            fixed_outer_film=10.0,
        )
        c = constants_of(case)
        coarse, fine = profile_of(case, 641), profile_of(case, 1281)
        m = np.sqrt(c.loss / c.wall)
        tip = c.cap_outside / (m * c.wall)
        left = m * (c.length - coarse.position[0])
        expected = np.cosh(left) + tip * np.sinh(left)
        found = (4 * fine.wall[0, ::2] - coarse.wall[0]) / 3 - AIR
        # Fourth-order remainder of the extrapolation on 640 intervals.
        assert_allclose(found / 100, expected / expected[0], atol=1e-7)
        heat = 100 * c.wall * m * (np.sinh(left) + tip * np.cosh(left))[0] / expected[0]
        assert_allclose((4 * fine.heat_lost - coarse.heat_lost) / 3, heat, rtol=1e-6)


# --- what physics demands ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def sample(box_sample):
    """Without pulsation, which belongs to the whole flow."""
    case = box_sample(256, seed=21)
    return case, profile_of(case)


class TestPhysics:
    def test_heat_that_enters_is_lost(self, sample):
        _, profile = sample
        assert np.all(profile.closure_error < 1e-8)
        scale = np.maximum(np.abs(profile.heat_lost), 1e-6)
        audit = np.abs(profile.heat_entering - profile.heat_lost) / scale
        assert np.all(audit < 2e-8)  # the reported error is over the larger of the two

    def test_no_temperature_beyond_its_causes(self, sample):
        case, profile = sample
        causes = np.stack(
            [
                case.main_pipe.gas_temperature,
                profile.wall[:, 0],
                case.surroundings.air_temperature,
                case.surroundings.radiant_temperature,
            ]
        )
        low, high = causes.min(axis=0)[:, None], causes.max(axis=0)[:, None]
        for values in (profile.gas, profile.wall, profile.skin):
            assert np.all(values >= low)
            assert np.all(values <= high)

    def test_gas_falls_all_the_way_where_nothing_but_the_mouth_is_hot(self, sample):
        """With walls and air at one temperature, and the main pipe's wall between gas and air."""
        case, profile = sample
        # Just inside: behind a mouth that resists, the gas may be colder than the hot wall.
        gas, air = profile.gas[:, 0], case.surroundings.air_temperature
        wall = profile.wall[:, 0]
        passive = case.surroundings.radiant_temperature == air
        hot, cold = passive & (gas > wall) & (wall > air), passive & (gas < wall) & (wall < air)
        assert hot.sum() > 60
        assert cold.sum() > 5
        # Rounding of the temperature and what Newton's method leaves.
        assert np.all(np.diff(profile.gas[hot]) <= 1e-9)
        assert np.all(np.diff(profile.gas[cold]) >= -1e-9)
        assert np.all(profile.gas[hot] >= profile.wall[hot] - 1e-9)

    def test_a_bare_skin_is_the_wall(self, sample):
        case, profile = sample
        bare = case.covering.wrap_thickness == 0
        assert_array_equal(profile.skin[bare], profile.wall[bare])

    def test_mouth_temperatures_are_the_given_ones(self, sample):
        case, profile = sample
        hot, inside = case.main_pipe.gas_temperature, profile.gas[:, 0]
        free = np.isinf(case.closures.mouth_exchange)
        assert 20 < free.sum() < len(free) - 20
        assert_array_equal(inside[free], hot[free])
        assert np.all(inside[~free] != hot[~free])
        given = ~np.isnan(case.main_pipe.skin_temperature)
        assert_array_equal(profile.wall[given, 0], case.main_pipe.skin_temperature[given])

    def test_batch_equals_singles(self, sample):
        case, profile = sample
        for i in range(0, len(case), 16):
            alone = profile_of(case.take(np.array([i])))
            for name in ("gas", "wall", "skin"):
                # Rounding: a batch may take the compiled path and a single design the other.
                together = getattr(profile, name)[i]
                assert_allclose(getattr(alone, name)[0], together, rtol=1e-10)

    def test_everything_at_one_temperature_stays_there(self, make_case):
        profile = profile_of(make_case(gas_temperature=298.15, air_temperature=298.15))
        for values in (profile.gas, profile.wall, profile.skin):
            assert_allclose(values, 298.15, rtol=1e-12)
        assert abs(profile.heat_lost[0]) < 1e-9
        assert abs(profile.heat_entering[0]) < 1e-9

    def test_colder_gas_takes_heat_in(self, make_case):
        profile = profile_of(make_case(gas_temperature=263.15))
        assert profile.heat_entering[0] < -0.1
        assert np.all(np.diff(profile.gas[0]) > 0)

    def test_a_vanishing_wrap_is_no_wrap(self, make_case):
        """A nanometre of wrap resists by h t/k, 20 × 1e-9 / 0.05."""
        bare, wrapped = (profile_of(make_case(wrap_thickness=t)) for t in (0.0, 1e-9))
        assert_allclose(wrapped.gas, bare.gas, atol=1e-6 * 125)
        assert_allclose(wrapped.heat_lost, bare.heat_lost, rtol=1e-6)
        assert np.all(wrapped.skin <= wrapped.wall)

    def test_more_wrap_loses_less(self, make_case):
        """Beyond the critical radius k/h, 5 mm, which every tube of 50 mm is."""
        thickness = np.array([0.0, 1e-4, 1e-3, 5e-3, 0.01, 0.02, 0.05])
        profile = profile_of(make_case(wrap_thickness=thickness))
        assert np.all(np.diff(profile.heat_lost) < 0)
        assert np.all(np.diff(profile.gas[:, -1]) > 0)
        assert np.all(np.diff(profile.skin[:, 0]) < 0)

    def test_faster_air_makes_a_colder_cap(self, make_case):
        speed = np.array([0.0, 0.2, 0.5, 1.0, 2.0, 4.0, 8.0, 20.0, 60.0])
        profile = profile_of(make_case(air_speed=speed, length=0.4))
        for end in (profile.gas[:, -1], profile.wall[:, -1]):
            assert np.all(np.diff(end) < 0)
        assert np.all(profile.wall[:, -1] > 298.15)

    def test_a_blacker_skin_makes_a_colder_cap(self, make_case):
        profile = profile_of(make_case(emissivity=np.linspace(0, 1, 5), air_speed=0.0))
        assert np.all(np.diff(profile.wall[:, -1]) < 0)

    def test_more_stirring_makes_a_warmer_cap(self, make_case):
        profile = profile_of(make_case(stirring=np.array([0.03, 0.1, 0.3, 0.8])))
        assert np.all(np.diff(profile.gas[:, -1]) > 0)

    def test_a_rising_branch_is_warmer_than_a_falling_one(self, make_case):
        rise = np.array([-1.5, -0.8, 0.0, 0.3, 1.5])
        profile = profile_of(make_case(rise=rise))
        warmth = profile.gas.mean(axis=1)
        assert warmth[0] < warmth[2]
        assert np.all(np.diff(warmth[2:4]) > 0)


class TestSolver:
    def test_any_start_ends_at_the_same_solution(self, make_case):
        case = make_case(wrap_thickness=np.array([0.0, 0.02]))
        cold = profile_of(case)
        gas, air = MixtureTable.of(case.gas), dry_air_table()
        speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
        wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
        balance = heat_balance(case, gas, air, speed, position=cold.position)
        level = np.full_like(cold.gas, 310.0)
        start = replace(cold, gas=level + 90.0, wall=level, skin=level)
        warm = solve_steady(balance, wall, guess=start)
        assert_allclose(warm.gas, cold.gas, atol=1e-7)  # what TOLERANCES leave
        assert_allclose(warm.skin, cold.skin, atol=1e-7)

    def test_a_good_guess_saves_steps(self, make_case):
        case = make_case()
        gas, air = MixtureTable.of(case.gas), dry_air_table()
        speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
        wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
        balance = heat_balance(case, gas, air, speed)
        first = solve_steady(balance, wall)
        again = solve_steady(balance, wall, guess=first)
        assert again.iterations[0] < first.iterations[0]

    def test_a_solver_that_stops_short_says_which_designs(self, make_case, monkeypatch):
        """The first design is in balance as it stands and needs one step, the other more."""
        for module in (newton, steady):
            monkeypatch.setattr(module, "MOST_ITERATIONS", 1)
        case = make_case(gas_temperature=np.array([298.15, 900.0]))
        with pytest.raises(NotConvergedError) as caught:
            profile_of(case)
        assert caught.value.designs == (1,)
        assert caught.value.iterations == 1 * (1 + steady.FINER_GRIDS + len(steady.EASING))
        assert caught.value.residual > newton.TOLERANCES.step

    def test_cold_gas_beside_a_hot_wall(self, make_case):
        """Gas that no mixing reaches, beside a wall so hot that its film grows as it warms."""
        case = make_case(
            gas_temperature=240.0,
            skin_temperature=np.array([600.0, 900.0, 1100.0, 1270.0]),
            fixed_diffusivity=0.0,
            fixed_outer_film=10.0,
        )
        profile = profile_of(case)
        assert np.all(profile.closure_error < 1e-8)
        # Within a bore the gas has taken the wall's temperature.
        assert np.all(np.abs(profile.gas - profile.wall)[:, 80:] < 5.0)
