"""Curves and named starts."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch.base.errors import InputError, PropertyRangeError
from warmbranch.warming.drive import LONGEST, Curve, Drive
from warmbranch.warming.storage import gas_at


def curve(time, value, name="gas_temperature", unit="K") -> Curve:
    return Curve(name, unit, np.array(time, dtype=float), np.array(value, dtype=float))


class TestCurve:
    def test_straight_between_points_and_level_behind(self):
        c = curve([0, 10, 30], [300, 400, 500])
        for side in (c.before, c.after):
            assert_allclose(side(np.array([5.0, 20.0, 99.0])), [350, 450, 500], rtol=1e-15)

    def test_two_points_at_one_time_are_a_jump(self):
        c = curve([0, 10, 10, 20], [300, 300, 500, 600])
        assert_array_equal(c.before(np.array([10.0])), [300])
        assert_array_equal(c.after(np.array([10.0])), [500])

    def test_jump_at_the_start_and_at_the_end(self):
        c = curve([0, 0, 10, 10], [300, 400, 400, 350])
        assert_array_equal(c.after(np.array([0.0, 10.0])), [400, 350])
        assert_array_equal(c.before(np.array([10.0])), [400])

    def test_one_point_is_a_constant(self):
        assert_array_equal(curve([0], [300]).after(np.array([0.0, 50.0])), [300, 300])

    @pytest.mark.parametrize(
        ("time", "message"),
        [
            ([], "empty"),
            ([5, 10], "begin at the start"),
            ([0, 10, 5], "back in time"),
            ([0, 10, 10, 10], "more than two"),
        ],
    )
    def test_refusals_name_the_remedy(self, time, message):
        with pytest.raises(InputError, match=message) as caught:
            curve(time, np.full(len(time), 300.0))
        assert caught.value.field == "gas_temperature_curve"
        assert caught.value.remedy.startswith("Give ")


class TestDrive:
    @pytest.mark.parametrize("duration", [0.0, -1.0, LONGEST + 1, np.nan])
    def test_duration(self, duration):
        with pytest.raises(InputError, match="six hours"):
            Drive(duration)

    def test_gas_beyond_the_tables(self):
        with pytest.raises(PropertyRangeError):
            Drive(100.0, gas_temperature=curve([0, 10], [300, 1400]))

    def test_breaks_are_all_the_curves_points_within(self):
        drive = Drive(
            50.0,
            gas_temperature=curve([0, 10, 90], [300, 400, 400]),
            air_speed=curve([0, 20, 20], [0, 0, 9], "air_speed", "m/s"),
        )
        assert_array_equal(drive.breaks(), [0, 10, 20, 50])

    def test_forcing_follows_the_curves(self, make_case):
        case = make_case(gas_temperature=np.array([400.0, 500.0]))
        drive = Drive(
            50.0,
            gas_temperature=curve([0, 10, 90], [300, 400, 480]),
            mass_flow=curve([0, 20, 20], [0, 0.01, 0.02], "mass_flow", "kg/s"),
        )
        forcing = drive.forcing(case)
        assert_array_equal(forcing.jumps, [True, False, True])
        assert_allclose(gas_at(forcing, 1, 1, 15.0), 405.0, rtol=1e-14)
        assert_allclose(forcing.flow_start[0], [0, 0.005, 0.02], rtol=1e-14)
        assert_allclose(forcing.air_start, 1.0, rtol=0)  # the case's own

    def test_draws_get_the_curve_over_their_own_air(self, make_case):
        case = make_case(
            gas_temperature=np.array([423.15, 523.15]), air_temperature=np.array([298.15, 273.15])
        )
        drive = Drive(
            20.0, gas_temperature=curve([0, 20], [298.15, 423.15]), drawn_for=(298.15, 423.15)
        )
        forcing = drive.forcing(case)
        assert_allclose(forcing.gas_start[:, 0], [298.15, 273.15], rtol=1e-14)
        ends = [gas_at(forcing, i, 0, 20.0) for i in range(2)]
        assert_allclose(ends, case.main_pipe.gas_temperature, rtol=1e-14)

    def test_cold_start_rises_from_the_air(self, make_case):
        case = make_case()
        forcing = Drive.cold_start(600.0, times=(20.0, 100.0), shares=(0.25, 0.75)).forcing(case)
        assert_allclose(gas_at(forcing, 0, 0, 0.0), 298.15, rtol=1e-14)
        expected = 423.15 - 125 * (0.25 * np.exp(-3) + 0.75 * np.exp(-0.6))
        assert_allclose(gas_at(forcing, 0, 0, 60.0), expected, rtol=1e-14)

    def test_engine_stop_falls_to_the_air_without_flow(self, make_case):
        drive = Drive.engine_stop(600.0, time=300.0)
        forcing = drive.forcing(make_case())
        assert drive.warm
        assert_array_equal(forcing.flow_start, 0.0)
        assert_allclose(gas_at(forcing, 0, 0, 0.0), 423.15, rtol=1e-14)
        assert_allclose(gas_at(forcing, 0, 0, 300.0), 298.15 + 125 / np.e, rtol=1e-14)
