"""The exact solutions of warming bodies against each other and against their equations."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from closed_forms import (
    Fin,
    WarmingFin,
    fin_excess_ratio,
    fin_warming,
    long_fin_warming,
    lumped_temperature,
    lumped_time_constant,
)

LONG = WarmingFin(Fin(10.0, 0.15, 2.3e-4, 2.0, 16.0), 4e-6)
SHORT = WarmingFin(Fin(60.0, 0.15, 2.3e-4, 0.08, 16.0), 4e-6)
X = np.linspace(0.0, 0.08, 9)


@pytest.mark.parametrize("time", [60.0, 300.0, 3000.0])
def test_endless_and_finite_fin_agree_where_the_tip_is_far(time):
    # 400 terms of the series: from a minute on the last is nil beside rounding.
    assert_allclose(fin_warming(LONG, X, time), long_fin_warming(LONG, X, time), atol=1e-12)


def test_late_fin_is_the_steady_one():
    assert_allclose(fin_warming(SHORT, X, 1e5), fin_excess_ratio(SHORT.fin, X), rtol=1e-13)


def test_early_fin_is_cold():
    # Fourier's series of a jump: 4000 terms leave 1/4000 beside it and less away from it.
    assert_allclose(fin_warming(SHORT, X[1:], 1e-6, terms=4000), 0.0, atol=1e-3)


@pytest.mark.parametrize("solution", [fin_warming, long_fin_warming])
def test_obeys_the_equation_of_heat(solution):
    warming = SHORT if solution is fin_warming else LONG
    x, time, dx, dt = np.array([0.02, 0.05]), 40.0, 1e-4, 1e-2
    rate = (solution(warming, x, time + dt) - solution(warming, x, time - dt)) / (2 * dt)
    middle = solution(warming, x, time)
    bend = (solution(warming, x + dx, time) - 2 * middle + solution(warming, x - dx, time)) / dx**2
    # Central differences of second order: rounding over dx² leaves 1e-8 of a bend of 1e3.
    assert_allclose(
        rate, warming.diffusivity * bend - warming.loss_rate * middle, rtol=1e-4, atol=1e-9
    )


def test_tip_loses_what_arrives():
    length, step = SHORT.fin.length, 1e-5
    tip, near, far = fin_warming(SHORT, length - step * np.arange(3), 200.0)
    # One-sided difference of second order.
    arriving = SHORT.fin.conductivity * (4 * near - 3 * tip - far) / (2 * step)
    assert_allclose(arriving, SHORT.fin.film * tip, rtol=1e-5)


def test_lumped_body_by_hand():
    tau = lumped_time_constant(8000.0, 500.0, 2e-6, 0.04)
    assert_allclose(tau, 200.0, rtol=1e-12)
    assert_allclose(lumped_temperature(np.array(200.0), 0.0, 1.0, tau), 1 - np.exp(-1), rtol=1e-12)
