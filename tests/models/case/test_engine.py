"""Orders, speeds, mass flow."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from warmbranch.case.engine import (
    Cycle,
    engine_speed,
    exhaust_mass_flow,
    firing_order,
    frequency,
    order_amplitudes,
    strongest_order,
)

ROUNDING = 1e-12


@pytest.mark.parametrize("cycle", Cycle)
@pytest.mark.parametrize("cylinders", range(1, 17))
def test_even_firing_has_its_firing_order(cylinders, cycle):
    angles = np.arange(cylinders) * cycle.revolutions * 2 * math.pi / cylinders
    assert strongest_order(angles, cycle) == firing_order(cylinders, cycle)
    orders, amplitudes = order_amplitudes(angles, cycle)
    whole = np.isclose(orders % firing_order(cylinders, cycle), 0)
    # Sums of at most 16 unit phasors: rounding 1e-15 times the order times the angle.
    assert_allclose(amplitudes, whole.astype(float), atol=1e-12)


def test_orders_listed():
    orders, _ = order_amplitudes(np.zeros(1), Cycle.FOUR_STROKE, highest_order=3)
    assert orders.tolist() == [0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
    orders, _ = order_amplitudes(np.zeros(1), Cycle.TWO_STROKE, highest_order=3)
    assert orders.tolist() == [1.0, 2.0, 3.0]


firing = st.lists(st.floats(0, 4 * math.pi), min_size=1, max_size=12)


@given(angles=firing, origin=st.floats(-10, 10))
def test_origin_of_angles_is_free(angles, origin):
    _, here = order_amplitudes(np.array(angles), Cycle.FOUR_STROKE)
    _, there = order_amplitudes(np.array(angles) + origin, Cycle.FOUR_STROKE)
    # Rounding of order · angle, at most 12 · 25, in a unit phasor.
    assert_allclose(here, there, atol=1e-12)
    assert np.all(here <= 1 + ROUNDING)


@given(angles=firing)
def test_a_whole_cycle_changes_nothing(angles):
    late = np.array(angles)
    late[0] += 4 * math.pi
    _, here = order_amplitudes(np.array(angles), Cycle.FOUR_STROKE)
    _, there = order_amplitudes(late, Cycle.FOUR_STROKE)
    assert_allclose(here, there, atol=1e-12)  # as above


def test_lowest_of_equals():
    """Pulses that coincide are whole at every order; the lowest is what is heard first."""
    assert strongest_order(np.zeros(3), Cycle.FOUR_STROKE) == 0.5


def test_speed_and_frequency_are_inverse():
    speed = np.array([10.0, 33.3, 100.0])
    assert_allclose(engine_speed(frequency(speed, np.array(1.5)), np.array(1.5)), speed, rtol=1e-15)


def test_cycles_by_name():
    assert Cycle("four-stroke").revolutions == 2
    assert Cycle("two-stroke").revolutions == 1
    with pytest.raises(ValueError, match="six-stroke"):
        Cycle("six-stroke")


def mass_flow(*, cycle=Cycle.FOUR_STROKE, excess=1.0, efficiency=0.8):
    given = [np.array([value]) for value in (2e-3, 50.0, efficiency, 1.2, 14.7, excess)]
    return exhaust_mass_flow(*given, cycle)[0]


def test_mass_flow_by_hand():
    # 0.8 · 1.2 kg/m³ · 2 L · 50/s / 2 = 48 g/s of air, and a fifteenth or so of fuel.
    assert_allclose(mass_flow(), 0.048 * (1 + 1 / 14.7), rtol=ROUNDING)


def test_mass_flow_follows_its_inputs():
    assert_allclose(mass_flow(cycle=Cycle.TWO_STROKE), 2 * mass_flow(), rtol=ROUNDING)
    assert_allclose(mass_flow(efficiency=0.4), mass_flow() / 2, rtol=ROUNDING)
    # Without limit of excess air only the air is left.
    assert_allclose(mass_flow(excess=1e9), 0.048, rtol=1e-9)
