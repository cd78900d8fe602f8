"""What is heard against time, and over conditions."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch.length.compromise import Aim, left_over
from warmbranch.length.conditions import over_conditions
from warmbranch.steady.solve import solve
from warmbranch.warming.drive import Curve, Drive
from warmbranch.warming.solve import warm_up
from warmbranch.warming.wander import (
    Wander,
    case_at,
    length_per_frequency,
    plateaus,
    steady_at_plateaus,
    wander,
    warm_case,
)


def heard(frequency, time, wet=None) -> Wander:
    frequency = np.array([frequency])
    nothing = np.zeros_like(frequency)
    wet = np.zeros(frequency.shape, dtype=bool) if wet is None else np.array([wet])
    return Wander(np.array(time), frequency, nothing, np.ones(1), nothing, wet, np.full(1, 320.0))


class TestSettled:
    def test_between_the_last_time_outside_and_the_next(self):
        found = heard([90.0, 98.0, 99.5, 100.0], [0.0, 10.0, 20.0, 30.0])
        # 2 % off at 10 s, 0.5 % at 20 s: 1 % lies two thirds of the way.
        assert_allclose(found.time_within(np.array([100.0]), 0.01), [10 + 10 * 2 / 3], rtol=1e-12)

    def test_leaving_again_counts(self):
        found = heard([100.0, 90.0, 100.0], [0.0, 10.0, 20.0])
        assert_allclose(found.time_within(np.array([100.0]), 0.01), [19.0], rtol=1e-12)

    def test_always_and_never(self):
        assert_array_equal(
            heard([100.0, 100.2], [0, 1]).time_within(np.array([100.0]), 0.01), [0.0]
        )
        assert np.isnan(heard([90.0, 95.0], [0, 1]).time_within(np.array([100.0]), 0.01)[0])

    def test_no_resonance_is_outside(self):
        found = heard([np.nan, 100.0], [0.0, 10.0])
        assert_allclose(found.time_within(np.array([100.0]), 0.01), [10.0], rtol=1e-12)

    @pytest.mark.parametrize(
        ("wet", "expected"),
        [([True, True, False], 20.0), ([False] * 3, 0.0), ([False, False, True], np.nan)],
    )
    def test_dry_from(self, wet, expected):
        assert_array_equal(heard([1.0] * 3, [0.0, 10.0, 20.0], wet).dry_from(), [expected])


def test_all_cold_it_is_a_branch_of_one_temperature(make_case):
    """Before anything is warm, the sound is that of the steady answer with gas at the air's."""
    case = make_case()
    found = wander(warm_up(case, Drive.cold_start(60.0), np.zeros(1)), np.array([80.0]))
    cold = solve(make_case(gas_temperature=298.15))
    assert_allclose(found.frequency[:, 0], cold.resonance[:, 0], rtol=1e-9)
    assert_allclose(found.loss[:, 0], cold.transmission_loss(np.array([[80.0]]))[:, 0], rtol=1e-7)


def test_settled_it_is_the_steady_answer(make_case):
    case = make_case()
    settled = warm_up(case, Drive(4 * 3600.0), np.array([4 * 3600.0]))
    answer = solve(case, position=settled.position)
    driven = answer.resonance[:, 0]
    found = wander(settled, driven)
    assert_allclose(found.frequency[:, 0], driven, rtol=1e-6)
    full = answer.transmission_loss(driven[:, None])[:, 0]
    assert_allclose(found.loss[:, 0], full, atol=1e-3)  # flat at its peak


def test_mixtures_may_differ(box_sample):
    """Design by design against the batch."""
    case = box_sample(4, seed=41)
    run = warm_up(case, Drive(300.0), np.array([30.0, 300.0]))
    together = wander(run, np.full(4, 90.0))
    for i in range(4):
        alone = wander(warm_up(case.take(np.array([i])), Drive(300.0), run.time), np.array([90.0]))
        assert_allclose(alone.frequency[0], together.frequency[i], rtol=1e-9)
        assert_array_equal(alone.wet[0], together.wet[i])


DRIVE = Drive(
    1000.0,
    gas_temperature=Curve(
        "gas_temperature", "K", np.array([0, 100, 300, 300, 320, 400.0]),
        np.array([400, 500, 500, 600, 600, 550.0]),
    ),
    air_speed=Curve("air_speed", "m/s", np.array([0, 200.0, 200.0]), np.array([1.0, 1.0, 5.0])),
)  # fmt: skip


def test_plateaus_are_where_all_curves_rest_for_a_minute(make_case):
    # 100 to 300 s is cut by the jump of the air at 200 s; 300 to 320 s is too short.
    assert plateaus(DRIVE) == [(100.0, 200.0), (200.0, 300.0), (400.0, 1000.0)]
    assert plateaus(Drive.cold_start(100.0)) == []
    rests, answer = steady_at_plateaus(make_case(), DRIVE)
    assert len(rests) == 3
    alone = solve(make_case(gas_temperature=500.0, air_speed=5.0))
    assert_allclose(answer.resonance[1], alone.resonance[0], rtol=1e-10)


def test_warm_is_what_the_curves_end_with(make_case):
    case = warm_case(make_case(), DRIVE)
    assert case.main_pipe.gas_temperature[0] == 550.0
    assert case.surroundings.air_speed[0] == 5.0
    assert warm_case(make_case(), Drive.engine_stop(60.0)).main_pipe.mass_flow[0] > 0
    assert_allclose(case_at(make_case(), DRIVE, 50.0).main_pipe.gas_temperature, 450.0, rtol=1e-14)


def test_length_that_goes_with_a_frequency(make_case):
    case = make_case()
    first = solve(case).resonance[0, 0]
    slope = length_per_frequency(case)[0]
    longer = replace(case, branch=case.branch.with_length(case.branch.length - slope))
    # A hertz lower; the slope is that at the middle, half a hertz away: a second-order remainder.
    assert_allclose(solve(longer).resonance[0, 0], first - 1, atol=0.03)


class TestConditions:
    @pytest.fixture
    def found(self, make_case):
        air = np.array([253.15, 283.15, 313.15])
        case = make_case(air_temperature=air, gas_temperature=583.15)
        return case, over_conditions(case, 90.0, np.array([1.0, 2.0, 1.0]))

    def test_resonances_are_the_steady_ones(self, found):
        case, conditions = found
        assert_allclose(conditions.frequency, solve(case).resonance[:, 0], rtol=1e-12)
        assert_allclose(conditions.spread, np.ptp(conditions.frequency), rtol=1e-12)
        assert conditions.lowest < conditions.mean < conditions.highest

    @pytest.mark.parametrize("name", ["worst", "weighted"])
    def test_no_other_length_leaves_less(self, found, name):
        """Brute force about the length found."""
        case, conditions = found
        best = getattr(conditions, name)
        aim = Aim.LOUDEST if name == "worst" else Aim.MEAN
        for factor in (0.97, 0.99, 0.998, 1.002, 1.01, 1.03):
            branch = case.branch.with_length(np.full(3, best.length * factor))
            answer = solve(replace(case, branch=branch))
            level = -answer.transmission_loss(np.full((3, 1), 90.0))
            left = float(left_over(level, conditions.weight, np.ones(1), aim))
            assert left > best.objective_after
