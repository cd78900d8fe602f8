"""Heat that a pinhole draws in."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from warmbranch.steady.leak import leak_flow, leak_heat
from warmbranch.steady.solve import solve


def test_flow_by_hand():
    """0.6 × 0.7854 mm² × √(2 × 1 × 1000) m/s × 1 kg/m³ = 21.07 mg/s."""
    assert_allclose(leak_flow(np.array([1.0])), 21.07e-6, rtol=3e-4)
    # Twice the hole, four times the flow; four times the pressure, twice.
    assert_allclose(leak_flow(np.array([1.0]), 4000.0, 2e-3), 8 * 21.07e-6, rtol=3e-4)


def test_heat_is_flow_times_heat_capacity_times_fall(a_case):
    answer = solve(a_case())
    flow = leak_flow(answer.duct.density[:, -1])
    fall = 583.15 - answer.profile.gas[:, -1]
    per_flow = leak_heat(answer) / (flow * fall)
    # Heat capacity of burnt petrol between 300 and 600 K, J/(kg K).
    assert 1050 < per_flow[0] < 1160


def test_no_heat_without_a_fall(uniform_case):
    assert_allclose(leak_heat(solve(uniform_case())), 0.0, atol=1e-6)
