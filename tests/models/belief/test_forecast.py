from __future__ import annotations

import numpy as np
import pytest

from warmbranch.base.interpolation import interpolated
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.forecast import FIT_NODES, Forecaster
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch.steady.solve import solve

CASES = [
    {},
    {"length": 0.5, "gas_temperature": 800.0, "air_speed": 8.0},
    {"rise": 0.3, "gas_temperature": 600.0, "wrap_thickness": 6e-3},
]


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
