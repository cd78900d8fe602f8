from __future__ import annotations

import numpy as np
import pytest

from warmbranch.base.interpolation import interpolated
from warmbranch.belief import forecast
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.forecast import FIT_NODES, Forecaster
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.banded import newton_step
from warmbranch.heat.discretise import heat_balance
from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.temperature import TOLERANCES, solve_steady
from warmbranch.steady.solve import solve

CASES = [
    {},
    {"length": 0.5, "gas_temperature": 800.0, "air_speed": 8.0},
    {"rise": 0.3, "gas_temperature": 600.0, "wrap_thickness": 6e-3},
]


def on_fixed_grid(case, x):
    """Skin of the whole heat balance solved anew on a given grid, K."""
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    balance = heat_balance(case, gas, air, speed, position=x)
    found = solve_steady(balance, wall)
    # One more step: differences over small steps need more digits than anybody else.
    steps = newton_step(balance.linearise(found.gas, found.wall, found.skin))
    return found.skin + steps[2]


def test_is_the_model_of_branch_solve_on_its_grid(make_case):
    case = make_case()
    prior = Calibration.prior(case)
    drawn = prior.draws(16)
    mine = Forecaster(case, prior.names, case.branch.length, DEFAULT_NODES).at(drawn)
    whole = solve(with_unknowns(case, prior.names, drawn))
    # The same equations, but for the sound's coarser cells.
    np.testing.assert_allclose(mine.frequency, whole.resonance[:, 0], rtol=3e-6, atol=0)
    # What the looser tolerances leave, most where the counterflow ends.
    np.testing.assert_allclose(mine.profile.skin, whole.profile.skin, rtol=0, atol=1e-3)


@pytest.mark.parametrize("changes", CASES)
def test_coarse_grid_is_as_good_as_is_said(make_case, changes):
    case = make_case(**changes)
    prior = Calibration.prior(case)
    drawn = prior.draws(32)
    coarse = Forecaster(case, prior.names, case.branch.length, FIT_NODES).at(drawn)
    fine = Forecaster(case, prior.names, case.branch.length, 4 * (FIT_NODES - 1) + 1).at(drawn)
    np.testing.assert_allclose(coarse.frequency, fine.frequency, rtol=1e-3, atol=0)
    assert np.sqrt(np.mean((coarse.frequency / fine.frequency - 1) ** 2)) < 2e-4
    every = np.arange(len(drawn))
    places = np.linspace(0.1, 0.98, 9) * case.branch.length[0]
    apart = coarse.skin_at(every, places) - fine.skin_at(every, places)
    assert np.sqrt(np.mean(apart**2, axis=0)).max() < 1.0


@pytest.mark.parametrize("buoyancy", [0.0, 1.0])
@pytest.mark.parametrize("changes", CASES)
def test_sensitivities_are_those_of_solving_anew(make_case, changes, buoyancy, monkeypatch):
    """The solved Jacobian is the implicit function theorem, where the solution stands still: a
    fit's looser tolerances leave 1e-4 K where the counterflow ends.

    Both differences are central with the same step, so what they leave out is of the order of
    the step squared, some 1e-7; one step of Newton's method leaves 1e-6 at a cap that follows the
    air alone.
    """
    monkeypatch.setattr(forecast, "FIT_TOLERANCES", TOLERANCES)
    case = make_case(**changes, buoyancy=buoyancy)
    prior = Calibration.prior(case)
    forecaster = Forecaster(case, prior.names, case.branch.length)
    base = forecaster.at(prior.mean[None])
    step = 1e-4
    moves = step * np.diag(prior.spread)
    around = prior.mean + np.concatenate([moves, -moves])
    near = forecaster.near(base, prior.mean, np.diag(prior.spread), step)
    size = len(prior.names)
    for i, name in enumerate(prior.names):
        up, down = (
            on_fixed_grid(with_unknowns(case, prior.names, around[[row]]), base.profile.position)[0]
            for row in (i, size + i)
        )
        whole = (up - down) / (2 * step)
        quick = (near.profile.skin[i] - near.profile.skin[size + i]) / (2 * step)
        # Where an unknown (the mouth) has no effect on temperatures, rounding is left.
        limit = 2e-6 * np.abs(whole).max() + 1e-8
        np.testing.assert_allclose(quick, whole, rtol=0, atol=limit, err_msg=name)
        assert name in ("mouth_factor", "tone") or np.abs(whole).max() > 0.1


def test_tone_follows_its_sensitivities(make_case):
    case = make_case()
    prior = Calibration.prior(case)
    forecaster = Forecaster(case, prior.names, case.branch.length, DEFAULT_NODES)
    base = forecaster.at(prior.mean[None])
    step = 1e-3 * np.diag(prior.spread)
    around = prior.mean + np.concatenate([step, -step])
    size = len(prior.names)
    quick, whole = (
        np.log(found.frequency[:size] / found.frequency[size:]) / 2e-3
        for found in (
            forecaster.near(base, prior.mean, np.diag(prior.spread), 1e-3),
            forecaster.at(around),
        )
    )
    # The whole solution's grid moves with the unknowns, which shows at this level.
    np.testing.assert_allclose(quick, whole, rtol=2e-3, atol=1e-6)
    assert np.abs(whole).max() > 5e-3


def test_sensitivities_under_pulsation(make_case):
    """Heat and sound are repeated until they agree, and so are their derivatives."""
    case = make_case(incident_pressure=3000.0, pulsation=0.1, buoyancy=0.0)
    prior = Calibration.prior(case)
    forecaster = Forecaster(case, prior.names, case.branch.length)
    base, step = forecaster.at(prior.mean[None]), 1e-3
    near = forecaster.near(base, prior.mean, np.diag(prior.spread), step)
    size = len(prior.names)
    quick = np.log(near.frequency[:size] / near.frequency[size:]) / (2 * step)
    for i, name in enumerate(prior.names):
        moves = step * prior.spread[i] * np.eye(size)[i]
        up, down = (
            solve(with_unknowns(case, prior.names, (prior.mean + sign * moves)[None]),
                  position=base.profile.position).resonance[0, 0]
            for sign in (1, -1)
        )  # fmt: skip
        # Both differences leave some 1e-6 of themselves out; agreement of heat and sound is to 1e-8
        # of the tone, which over the step is 1e-5.
        np.testing.assert_allclose(
            quick[i], np.log(up / down) / (2 * step), rtol=1e-5, atol=1e-5, err_msg=name
        )
    assert abs(quick[prior.names.index("pulsation")]) > 1e-3


def test_several_lengths_at_once(make_case):
    case = make_case()
    prior = Calibration.prior(case)
    lengths = np.array([1.031, 0.9, 0.845])
    found = Forecaster(case, prior.names, lengths).at(prior.draws(4))
    assert len(found) == 12
    for place, length in enumerate(lengths):
        alone = Forecaster(case, prior.names, np.array([length])).at(prior.draws(4))
        np.testing.assert_allclose(found.frequency[place::3], alone.frequency, rtol=1e-12, atol=0)


def test_pulsation_goes_through_the_whole_model(make_case):
    case = make_case(incident_pressure=3000.0, pulsation=0.1)
    prior = Calibration.prior(case)
    assert "pulsation" in prior.names
    found = Forecaster(case, prior.names, case.branch.length).at(prior.mean[None])
    whole = solve(case, nodes=FIT_NODES)
    np.testing.assert_allclose(found.frequency, whole.resonance[:, 0], rtol=1e-9, atol=0)


def test_interpolation_is_exact_for_cubics():
    x = np.cumsum(np.random.default_rng(4).uniform(0.1, 1.0, (3, 12)), axis=1)
    at = np.linspace(1.5, 4.0, 7)

    def cubic(t: np.ndarray) -> np.ndarray:
        return 1 - t + 0.5 * t**2 - 0.1 * t**3

    found = interpolated(x, cubic(x), at)
    np.testing.assert_allclose(found, np.tile(cubic(at), (3, 1)), rtol=1e-11, atol=1e-11)


def test_interpolation_meets_the_nodes():
    x = np.linspace(0.0, 1.0, 9)[None]
    values = np.random.default_rng(5).normal(size=(1, 9))
    np.testing.assert_allclose(interpolated(x, values, x[0]), values, rtol=0, atol=1e-12)
