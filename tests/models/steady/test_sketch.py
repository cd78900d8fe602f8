"""Nodes that follow the profile, and the guess on them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch import core
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.grid import DEFAULT_NODES, SKETCH_NODES, graded
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.profile import Temperatures
from warmbranch.steady import sketch
from warmbranch.steady.interplay import Mouth
from warmbranch.steady.sketch import balance_and_guess, refined
from warmbranch.steady.solve import solve

LENGTH = np.array([0.05, 0.4, 3.0])
DECAY = np.array([0.01, 0.4, 0.02])
EVEN = np.ones(3)


@pytest.fixture(params=["compiled", "numpy"])
def path(request, monkeypatch):
    assert core.at_hand() is not None
    if request.param == "numpy":
        monkeypatch.setenv(core.OFF, "off")


def sketched(nodes: int = SKETCH_NODES) -> Temperatures:
    x = graded(LENGTH, DECAY, nodes)
    gas = 300 + 400 * np.exp(-x / DECAY[:, None])
    wall = 300 + 80 * np.exp(-x / DECAY[:, None] / 3)
    return Temperatures(x, gas, wall, wall - 5.0, np.zeros_like(x))


@pytest.mark.usefixtures("path")
class TestRefined:
    @pytest.mark.parametrize("nodes", [65, 97, 161, 1281])
    def test_runs_from_mouth_to_cap(self, nodes):
        fine = refined(sketched(), nodes, EVEN)
        assert fine.position.shape == fine.gas.shape == fine.skin.shape == (3, nodes)
        assert_array_equal(fine.position[:, 0], 0.0)
        assert_array_equal(fine.position[:, -1], LENGTH)
        assert np.all(np.diff(fine.position, axis=1) > 0)

    def test_density_goes_as_the_root_of_the_bend(self):
        """Of an exponential alone, ``|T''|^{1/2}`` is ``exp(−x/2δ)``; and the even share."""
        x = graded(LENGTH, DECAY, 1025)
        gas = 300 + 400 * np.exp(-x / DECAY[:, None])
        cold = np.full_like(x, 300.0)
        fine = refined(Temperatures(x, gas, cold, cold, np.zeros_like(x)), 4097, EVEN)
        middle = (fine.position[:, 1:] + fine.position[:, :-1]) / 2
        found = 1 / (4096 * np.diff(fine.position, axis=1))
        bend = 400 / DECAY**2 * np.exp(-middle.T / DECAY) + sketch.FAINT / LENGTH**2
        wanted = np.sqrt(bend).T
        # The integral of the wanted density from here to there, by the fine nodes themselves.
        mean = (wanted * np.diff(fine.position, axis=1)).sum(axis=1) / LENGTH
        wanted += sketch.EVENNESS * mean[:, None]
        wanted /= (mean * (1 + sketch.EVENNESS) * LENGTH)[:, None]
        # Smoothing takes in three nodes to either side, a dozen of the fine ones: not at the ends.
        inner = slice(32, -32)
        assert_allclose(found[:, inner], wanted[:, inner], rtol=1e-3)

    def test_a_crowded_cap(self):
        """Six times the density at the cap, falling to one over the sketch's last piece."""
        plain = refined(sketched(), 1281, EVEN).position
        dense = refined(sketched(), 1281, 6 * EVEN).position
        last = [x[:, -1] - x[:, -2] for x in (plain, dense)]
        # More nodes at the cap are fewer elsewhere, and density falls from there on.
        assert np.all((last[0] / last[1] > 3) & (last[0] / last[1] < 6))
        assert np.all(np.diff(dense, axis=1) > 0)

    def test_straight_profiles_ask_for_even_nodes(self):
        x = graded(LENGTH, DECAY, SKETCH_NODES)
        straight = 700 - 300 * x / LENGTH[:, None]
        fine = refined(Temperatures(x, straight, straight, straight, straight / 1e4), 65, EVEN)
        # Rounding of the slopes, 1e-13 K over the shortest interval, beside FAINT.
        assert_allclose(fine.position, LENGTH[:, None] * np.linspace(0, 1, 65), rtol=1e-6)
        assert_allclose(fine.gas, 700 - 300 * fine.position / LENGTH[:, None], rtol=1e-12)

    def test_parabolas_are_interpolated_exactly(self):
        x = graded(LENGTH, DECAY, SKETCH_NODES)
        share = x / LENGTH[:, None]
        parabolas = Temperatures(
            x, 700 - 300 * share**2, 400 + share, 300 + share * (1 - share), 0.1 * share**2
        )
        fine = refined(parabolas, 97, EVEN)
        share = fine.position / LENGTH[:, None]
        assert_allclose(fine.gas, 700 - 300 * share**2, rtol=1e-12)  # rounding
        assert_allclose(fine.wall, 400 + share, rtol=1e-12)
        assert_allclose(fine.skin, 300 + share * (1 - share), rtol=1e-12)
        assert_allclose(fine.dried, 0.1 * share**2, atol=1e-15)

    def test_interpolation_is_of_third_order(self):
        """Slopes from parabolas are of second order, so what is between is of third."""

        def error(nodes: int) -> float:
            fine = refined(sketched(nodes), 1281, EVEN)
            exact = 300 + 400 * np.exp(-fine.position / DECAY[:, None])
            return float(np.abs(fine.gas - exact).max())

        orders = [np.log2(error(n) / error(2 * n - 1)) for n in (65, 129)]
        assert min(orders) > 2.7  # 3, but for the next term


def test_both_paths_agree(box_sample, monkeypatch):
    assert core.at_hand() is not None
    profile = solve(box_sample(96, seed=41), nodes=SKETCH_NODES, modes=1).profile
    given = profile.temperatures
    crowding = np.linspace(1.0, 6.0, 96)
    compiled = refined(given, DEFAULT_NODES, crowding)
    monkeypatch.setenv(core.OFF, "off")
    plain = refined(given, DEFAULT_NODES, crowding)
    for name in (
        "position",
        "gas",
        "wall",
        "skin",
        "dried",
    ):  # what rounding makes of the bends, smoothed
        assert_allclose(getattr(compiled, name), getattr(plain, name), rtol=1e-11, err_msg=name)


def given(case):
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    return case, gas, air, Mouth.of(case, gas, speed, wall)


class TestLaidOut:
    def test_few_nodes_and_given_ones_need_no_sketch(self, make_case):
        asked = given(make_case())
        balance, guess = balance_and_guess(*asked, nodes=SKETCH_NODES)
        assert guess is None
        assert balance.x.shape == (1, SKETCH_NODES)
        even = np.linspace(0, 1.0, 41)[None] * asked[0].branch.length
        balance, guess = balance_and_guess(*asked, position=even)
        assert guess is None
        assert balance.x is even

    def test_the_guess_is_near(self, box_sample):
        """Within some per cent of the span: what 33 nodes are good for where a front stands between
        two of them."""
        case = box_sample(64, seed=42)
        balance, guess = balance_and_guess(*given(case))
        answer = solve(case, modes=1)
        # The core does the same in one call: rounding of the bends.
        assert_allclose(balance.x, answer.profile.position, rtol=1e-11)
        span = np.ptp(answer.profile.gas, axis=1, keepdims=True) + 1.0
        assert np.abs((guess.gas - answer.profile.gas) / span).max() < 0.08
        assert np.median(answer.profile.iterations) <= 3

    def test_pulsation_shapes_the_sketch(self, make_case):
        """Gas stirred along the whole branch bends elsewhere than gas at rest."""
        case = make_case(incident_pressure=np.array([0.0, 4000.0]))
        balance, _ = balance_and_guess(*given(case))
        assert not np.allclose(balance.x[0], balance.x[1], rtol=1e-2)

    def test_the_cap_of_a_wrapped_branch_is_crowded(self, make_case):
        balance, _ = balance_and_guess(*given(make_case(wrap_thickness=np.array([0.0, 0.02]))))
        last = np.diff(balance.x, axis=1)[:, -1]
        assert last[0] > 2 * last[1]

    def test_where_nodes_lie_hardly_matters(self, make_case):
        """The stated accuracy, from other nodes altogether."""
        case = make_case(gas_temperature=700.0)
        answer = solve(case, modes=1)
        even = np.linspace(0, 1.0, 1281)[None] * case.branch.length
        fine = solve(case, modes=1, position=even)
        assert_allclose(answer.resonance, fine.resonance, rtol=2e-5)

    def test_a_batch_is_its_designs(self, box_sample):
        case = box_sample(24, seed=43)
        together, _ = balance_and_guess(*given(case))
        for i in range(0, 24, 5):
            alone, _ = balance_and_guess(*given(case.take(slice(i, i + 1))))
            assert_allclose(alone.x[0], together.x[i], rtol=1e-9)  # what Newton's method leaves


class TestLost:
    """Designs that a sketch cannot hold are laid out on graded nodes, and answered."""

    @pytest.fixture(autouse=True)
    def step_by_step(self, monkeypatch):
        """As what the core leaves is answered too."""
        monkeypatch.setenv(core.OFF, "off")

    @pytest.fixture
    def refusing(self, monkeypatch):
        """The sketch gives up on what is hotter than 900 K, one design at a time."""
        whole = sketch.solve_temperatures

        def gives_up(balance, mouth, **more):
            hot = np.flatnonzero(balance.case.main_pipe.gas_temperature > 900.0)
            if len(hot):
                designs = (int(hot[0]),)
                raise NotConvergedError("invented", designs=designs, residual=1.0, iterations=1)
            return whole(balance, mouth, **more)

        monkeypatch.setattr(sketch, "solve_temperatures", gives_up)

    @pytest.mark.usefixtures("refusing")
    @pytest.mark.parametrize("pressure", [0.0, 1500.0])
    def test_they_are_answered_and_the_others_as_ever(self, make_case, pressure, monkeypatch):
        kelvin = np.array([600.0, 1000.0, 700.0, 950.0])
        case = make_case(gas_temperature=kelvin, incident_pressure=pressure)
        found = solve(case, modes=1)
        monkeypatch.undo()
        monkeypatch.setenv(core.OFF, "off")
        expected = solve(case, modes=1)
        cool = kelvin < 900
        assert_allclose(found.resonance[cool], expected.resonance[cool], rtol=1e-10)
        assert_array_equal(found.profile.position[cool], expected.profile.position[cool])
        assert np.all(np.any(found.profile.position != expected.profile.position, axis=1) == ~cool)
        # Graded nodes are as accurate as is stated, some 1e-4.
        assert_allclose(found.resonance, expected.resonance, rtol=1e-4)

    @pytest.mark.usefixtures("refusing")
    def test_all_may_be_lost(self, make_case):
        assert np.isfinite(solve(make_case(gas_temperature=1000.0), modes=1).resonance[0, 0])

    def test_what_has_no_solution_at_all_is_named(self, make_case, monkeypatch):
        def fails(*_, **__):
            raise NotConvergedError("invented", designs=(0,), residual=1.0, iterations=1)

        case = make_case(gas_temperature=np.array([600.0, 700.0, 800.0]))

        def gives_up(*_, **__):
            raise NotConvergedError("invented", designs=(2,), residual=1.0, iterations=1)

        monkeypatch.setattr(sketch, "solve_temperatures", gives_up)
        monkeypatch.setattr(sketch, "solve_steady", fails)
        with pytest.raises(NotConvergedError) as raised:
            solve(case)
        assert raised.value.designs == (2,)


def test_nodes_move_smoothly_with_the_case(make_case):
    """No jump where the sketch takes a step more: neighbours' nodes differ as their cases do."""
    degrees = np.linspace(600.0, 700.0, 401)
    case = make_case(gas_temperature=degrees)
    x = balance_and_guess(*given(case))[0].x / case.branch.length[:, None]
    turn = np.abs(np.diff(x, n=2, axis=0)).max()
    # SKETCH_TOLERANCES leave a hundredth of a kelvin, a ten-thousandth of what bends here.
    assert turn < 1e-4
