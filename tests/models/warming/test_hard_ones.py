"""Warm-ups of branches of several tubes, and of those that the usual grid cannot hold."""

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal

from shared.tubes import of_several_tubes
from warmbranch import core
from warmbranch.heat.grid import GRADED_NODES
from warmbranch.warming.drive import Curve, Drive
from warmbranch.warming.solve import warm_up

MINUTE = np.linspace(0.0, 60.0, 7)


def test_branches_of_several_tubes_take_the_same_steps(box_sample, monkeypatch):
    case = of_several_tubes(box_sample(3, seed=36), seed=2).take(np.array([2]))
    assert case.branch.stepped.all()
    quick = warm_up(case, Drive.cold_start(60.0), MINUTE)
    monkeypatch.setenv(core.OFF, "off")
    plain = warm_up(case, Drive.cold_start(60.0), MINUTE)
    assert_array_equal(quick.steps, plain.steps)
    for name in ("gas", "wall", "skin", "dried"):
        assert_allclose(getattr(quick, name), getattr(plain, name), atol=1e-6, err_msg=name)
    assert_allclose(quick.heat_entered, plain.heat_entered, rtol=1e-8)


def test_a_grid_astride_a_kink_is_made_finer(likely_sample):
    """The engine stops on a wide, well mixed branch: on the usual grid no step is short enough."""
    case = likely_sample(128, seed=3).take(np.array([3]))
    flow = Curve("mass_flow", "kg/s", np.array([0, 900.0, 900.0]), np.array([0.02, 0.02, 0.0]))
    found = warm_up(case, Drive(1800.0, mass_flow=flow), np.array([0.0, 900.0, 1800.0]))
    assert found.position.shape == (1, 2 * GRADED_NODES - 1)
    assert found.imbalance[0] < 1e-6
