"""The method of the time loop: order conditions, stability, order shown on the branch itself."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.warming import solve as warmup
from warmbranch.warming.dense_output import GAMMA, STAGE_TIMES
from warmbranch.warming.drive import Curve, Drive
from warmbranch.warming.stepping import EMBEDDED, STAGES

A, B, C = STAGES, STAGES[3], np.array(STAGE_TIMES)
# The coefficients are quotients of 13-digit whole numbers and hold to rounding.
ROUNDING = 1e-12


def test_third_order():
    assert_allclose(A.sum(axis=1), C, atol=ROUNDING)
    assert_allclose([B.sum(), B @ C, B @ C**2, B @ A @ C], [1, 1 / 2, 1 / 3, 1 / 6], atol=ROUNDING)


def test_embedded_second_order_and_not_third():
    assert_allclose([EMBEDDED.sum(), EMBEDDED @ C], [1, 1 / 2], atol=ROUNDING)
    assert abs(EMBEDDED @ C**2 - 1 / 3) > 1e-3


def test_stages_of_second_order():
    assert_allclose(A[1:] @ C, C[1:] ** 2 / 2, atol=ROUNDING)


def growth(z, weights):
    return 1 + z * weights @ np.linalg.solve(np.eye(4) - z * A, np.ones(4))


def test_damps_all_that_decays_and_the_stiff_wholly():
    for z in -np.geomspace(1e-3, 1e8, 200):
        assert abs(growth(z, B)) <= 1
    for z in 1j * np.geomspace(1e-3, 1e6, 200):
        assert abs(growth(z, B)) <= 1 + ROUNDING
    # L-stable: it falls as 1/z, and on; farther out rounding takes over.
    assert abs(growth(-1e6, B)) < 1e-4
    assert_allclose(growth(-1e4, B) / growth(-1e5, B), 10, rtol=1e-2)


def test_embedded_solution_stays_bounded_where_it_is_stiff():
    assert abs(growth(-1e9, EMBEDDED)) < 1


def test_diagonal_is_one_number():
    assert_allclose(np.diag(A)[1:], GAMMA, atol=0)


def evenly(duration: float, steps: int) -> Drive:
    """A smooth cold start with breaks, and so steps, of one length."""
    still = Curve("air_speed", "m/s", np.linspace(0, duration, steps + 1), np.ones(steps + 1))
    return Drive(
        duration,
        air_speed=still,
        lag=Drive.cold_start(duration, times=(60.0,), shares=(1.0,)).lag,
    )


@pytest.mark.parametrize("wrap", [0.0, 0.006])
def test_order_of_convergence_in_time(make_case, monkeypatch, wrap):
    """Third order from the smooth start on; the mouth's forcing costs the usual part of it."""
    monkeypatch.setattr(warmup, "FIRST_STEP", 1e9)
    monkeypatch.setattr(warmup, "LARGEST_NEWTON_STEP", 1e-6)
    # Fixed films: natural convection begins as the power 5/4 of a nil difference.
    case = make_case(
        condensation=False,  # that sets in within a step, and bends the order
        fixed_outer_film=12.0,
        buoyancy=0.0,
        wrap_thickness=wrap,
        gas_temperature=550.0,
    )
    duration = 240.0

    def at_end(steps: int) -> np.ndarray:
        found = warmup.warm_up(
            case, evenly(duration, steps), np.array([duration]), tolerance=1e9, nodes=65
        )
        assert found.steps[0] == steps
        return np.stack([found.gas[0, 0], found.wall[0, 0], found.skin[0, 0]])

    finest = at_end(128)
    errors = [np.abs(at_end(steps) - finest).max() for steps in (8, 16, 32)]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert np.all(orders > 2.6), (errors, orders)
    assert errors[-1] < 0.02  # K
