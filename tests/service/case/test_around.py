"""Places, a rear in other air, a hot neighbour and a shield."""

from __future__ import annotations

import numpy as np
import pytest

from warmbranch.heat.radiation import radiative_flux
from warmbranch_service.case.around import PLACES, HotNeighbour, Shield, seen, seen_spread, shielded
from warmbranch_service.case.belief import spreads_by
from warmbranch_service.case.convert import to_physics
from warmbranch_service.case.schema import Case


def converted(smallest, **surroundings):
    case = Case.model_validate({**smallest["case"], "surroundings": surroundings})
    return to_physics(case).given, spreads_by(case, None)


def test_radiation_to_a_neighbour_and_the_rest_is_that_to_one_temperature():
    """By the balance of both parts, each black."""
    skin, rest, hot = 350.0, 293.15, 523.15
    one = seen(rest, HotNeighbour(temperature_degC=250, view_share=0.2))
    parts = [radiative_flux(np.array(skin), np.array(t), np.array(0.4))[0] for t in (hot, rest)]
    whole, _ = radiative_flux(np.array(skin), np.array(one), np.array(0.4))
    assert whole == pytest.approx(0.2 * parts[0] + 0.8 * parts[1], rel=1e-12)


def test_a_neighbour_that_takes_no_view_and_one_that_takes_all():
    assert seen(300.0, HotNeighbour(temperature_degC=500, view_share=0)) == pytest.approx(300.0)
    assert seen(300.0, HotNeighbour(temperature_degC=500, view_share=1)) == pytest.approx(773.15)


def test_spread_of_what_is_seen_by_differences():
    near = HotNeighbour(temperature_degC=250, view_share=0.2)
    step = 1e-4

    def slope(radiant=0.0, hot=0.0, share=0.0):
        other = HotNeighbour(temperature_degC=250 + hot, view_share=0.2 + share)
        return (seen(293.15 + radiant, other) - seen(293.15, near)) / step

    for own, expected in (
        ((3.0, (0.0, 0.0)), 3.0 * slope(radiant=step)),
        ((0.0, (7.0, 0.0)), 7.0 * slope(hot=step)),
        ((0.0, (0.0, 0.05)), 0.05 * slope(share=step)),
    ):
        assert seen_spread(293.15, own[0], near, own[1]) == pytest.approx(expected, rel=1e-3)


def test_limits_of_a_shield():
    """Far and black: none; close and bright: parallel plates, 1/(1/ε + 1/ε_s − 1)."""
    assert shielded(0.6, 50.0, Shield(diameter_mm=600, emissivity=1)) == pytest.approx(0.6)
    close = shielded(0.6, 50.0, Shield(diameter_mm=50, emissivity=0.2))
    assert close == pytest.approx(1 / (1 / 0.6 + 1 / 0.2 - 1))
    assert shielded(0.0, 50.0, Shield(diameter_mm=60)) == 0.0


def test_two_grey_coaxial_cylinders_by_radiosities():
    """The enclosure solved for what leaves each wall: the inner sees the outer alone, the outer
    sees the inner by their ratio and itself else."""
    own, outer, ratio, black = 0.4, 0.25, 0.6, (5.0, 1.0)
    system = np.array([[1, -(1 - own)], [-(1 - outer) * ratio, 1 - (1 - outer) * (1 - ratio)]])
    leaves = np.linalg.solve(system, [own * black[0], outer * black[1]])
    flux = leaves[0] - leaves[1]
    shield = Shield(diameter_mm=100, emissivity=outer)
    assert flux == pytest.approx(shielded(own, 60.0, shield) * (black[0] - black[1]), rel=1e-12)


def test_what_is_not_given_changes_nothing(smallest):
    plain, _ = converted(smallest)
    around = plain.surroundings
    assert np.isinf(around.rear_from[0])
    assert around.air_speed[0] == 0
    assert around.radiant_temperature[0] == around.air_temperature[0] == 293.15


@pytest.mark.parametrize("name", PLACES)
def test_a_place_stands_for_what_is_left_out_alone(smallest, name):
    place = PLACES[name]
    all_of_it, spreads = converted(smallest, place=name)
    around = all_of_it.surroundings
    assert around.air_temperature[0] == pytest.approx(293.15 + place.warmer)
    assert around.air_speed[0] == place.air_speed
    assert around.radiant_temperature[0] == pytest.approx(293.15 + place.warmer + place.faced)
    assert spreads.air_temperature == place.air_spread
    assert np.exp(1.959964 * spreads.air_speed) == pytest.approx(place.speed_factor, rel=1e-6)
    assert spreads.radiant_temperature == place.faced_spread
    given = {"air_temperature_degC": 5, "air_speed_m_s": 9, "radiant_temperature_degC": 7}
    measured, spreads = converted(smallest, place=name, **given)
    around = measured.surroundings
    assert around.air_temperature[0] == pytest.approx(278.15)
    assert around.air_speed[0] == 9
    assert around.radiant_temperature[0] == pytest.approx(280.15)
    assert (spreads.air_speed, spreads.radiant_temperature) == (0, 0)


def test_a_place_does_not_moisten_what_the_engine_draws(smallest):
    plain, _ = converted(smallest)
    warm, _ = converted(smallest, place="in a tunnel beside the exhaust")
    np.testing.assert_array_equal(plain.gas.mole_fractions, warm.gas.mole_fractions)


def test_a_rear_takes_from_the_front_what_it_leaves_out(smallest):
    case, _ = converted(
        smallest, air_temperature_degC=30, air_speed_m_s=8, radiant_temperature_degC=50,
        rear={"from_mm": 400},
    )  # fmt: skip
    around = case.surroundings
    assert around.rear_from[0] == pytest.approx(0.4)
    assert around.rear_air_temperature[0] == around.air_temperature[0]
    assert around.rear_radiant_temperature[0] == around.radiant_temperature[0]
    assert around.rear_air_speed[0] == 0


def test_a_warmer_rear_faces_as_much_warmer(smallest):
    case, _ = converted(
        smallest, air_temperature_degC=30, radiant_temperature_degC=50,
        rear={"from_mm": "40 cm", "air_temperature_degC": 20, "air_speed_m_s": "2 m/s"},
    )  # fmt: skip
    assert case.surroundings.rear_radiant_temperature[0] == pytest.approx(273.15 + 40)
    assert case.surroundings.rear_air_speed[0] == 2


def test_a_shield_dims_and_shelters(smallest):
    bare, _ = converted(smallest, air_speed_m_s=10)
    case, _ = converted(smallest, air_speed_m_s=10, shield={"diameter_mm": 80})
    assert case.covering.emissivity[0] < bare.covering.emissivity[0]
    assert case.surroundings.air_speed[0] == pytest.approx(2.0)


def test_each_of_them_moves_the_tone_the_way_it_must(steady, smallest, put):
    def tone():
        return steady(smallest)["resonance"]["frequency_Hz"][0]

    put(smallest, "case.surroundings.air_speed_m_s", 8)
    windy = tone()
    put(smallest, "case.surroundings.rear", {"from_mm": 300})
    sheltered_behind = tone()
    assert windy < sheltered_behind
    put(smallest, "case.surroundings.shield", {"diameter_mm": 80})
    shield = tone()
    assert sheltered_behind < shield
    put(smallest, "case.surroundings.shield", None)
    put(smallest, "case.surroundings.hot_neighbour", {"temperature_degC": 300, "view_share": 0.15})
    assert sheltered_behind < tone()


@pytest.mark.parametrize(
    ("changes", "field", "code"),
    [
        ({"place": "on the moon"}, "place", "unknown_name"),
        ({"rear": {"from_mm": -1}}, "rear.from_mm", "out_of_range"),
        ({"rear": {}}, "rear.from_mm", "missing"),
        (
            {"hot_neighbour": {"temperature_degC": 300, "view_share": 15}},
            "hot_neighbour.view_share", "out_of_range",
        ),
        ({"shield": {"diameter_mm": 45}}, "shield.diameter_mm", "shield_too_narrow"),
        (
            {
                "shield": {"diameter_mm": 80},
                "hot_neighbour": {"temperature_degC": 300, "view_share": 0.1},
            },
            "hot_neighbour", "shield_hides_neighbour",
        ),
    ],
)  # fmt: skip
def test_refusals(refused, smallest, put, changes, field, code):
    for name, value in changes.items():
        put(smallest, f"case.surroundings.{name}", value)
    entry, _ = refused(smallest)
    assert entry["field"] == f"case.surroundings.{field}"
    assert entry["code"] == code
    assert entry["remedy"]
