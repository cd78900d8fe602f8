"""One case in SI: each number held to the box, the usual slips asked about, the usual defaults."""

from __future__ import annotations

import pytest

from warmbranch import InputError, Piece, one_case
from warmbranch.case.one_case import BOX

GIVEN = {
    "outside_diameter": 0.0483,
    "wall_thickness": 0.0015,
    "length": 1.2,
    "main_outside_diameter": 0.0603,
    "main_wall_thickness": 0.0015,
    "gas_temperature": 583.15,
    "mass_flow": 95 / 3600,
}

SLIPS = [
    ("outside_diameter", 48.3, "Did you give mm? 48.3 mm is 0.0483 m."),
    ("outside_diameter", 1.9, "Did you give inches? 1.9 inches is 0.04826 m."),
    ("wall_thickness", 1.5, "Did you give mm? 1.5 mm is 0.0015 m."),
    ("length", 1200.0, "Did you give mm? 1200 mm is 1.2 m."),
    ("cap_thickness", 2.0, "Did you give mm? 2 mm is 0.002 m."),
    ("rise", 90.0, "Did you give degrees? 90 degrees is 1.5708 rad."),
    ("emissivity", 40.0, "Did you give percent? 40 percent is 0.4."),
    ("wrap_thickness", 6.0, "Did you give mm? 6 mm is 0.006 m."),
    ("wrap_conductivity", 90.0, "Did you give mW/(m K)? 90 mW/(m K) is 0.09 W/(m K)."),
    ("main_outside_diameter", 60.3, "Did you give mm? 60.3 mm is 0.0603 m."),
    ("main_wall_thickness", 1.5, "Did you give mm? 1.5 mm is 0.0015 m."),
    ("gas_temperature", 310.0, "Did you give °C? 310 °C is 583.15 K."),
    ("gas_temperature", 120.0, "Did you give °C? 120 °C is 393.15 K."),
    ("main_skin_temperature", 210.0, "Did you give °C? 210 °C is 483.15 K."),
    ("mass_flow", 95.0, "Did you give kg/h? 95 kg/h is 0.0263889 kg/s."),
    ("main_emissivity", 40.0, "Did you give percent? 40 percent is 0.4."),
    ("incident_pressure", 1e5, "Give a number from 0 to 20000."),
    ("cap_pressure", 1e5, "Give a number from 0 to 20000."),
    ("excess_air_ratio", 14.7, "Did you give air-fuel ratio? 14.7 air-fuel ratio is 1."),
    ("air_temperature", 18.0, "Did you give °C? 18 °C is 291.15 K."),
    ("radiant_temperature", 18.0, "Did you give °C? 18 °C is 291.15 K."),
    ("pressure", 101.325, "Did you give kPa? 101.325 kPa is 101325 Pa."),
    ("pressure", 1.01, "Did you give bar? 1.01 bar is 101000 Pa."),
    ("air_speed", 90.0, "Did you give km/h? 90 km/h is 25 m/s."),
    ("rear_from", 400.0, "Did you give mm? 400 mm is 0.4 m."),
    ("rear_air_temperature", 18.0, "Did you give °C? 18 °C is 291.15 K."),
    ("rear_radiant_temperature", 18.0, "Did you give °C? 18 °C is 291.15 K."),
    ("rear_air_speed", 90.0, "Did you give km/h? 90 km/h is 25 m/s."),
]


def test_every_field_of_the_box_has_its_slip():
    assert {name for name, _, _ in SLIPS} == set(BOX)


@pytest.mark.parametrize(("name", "value", "remedy"), SLIPS)
def test_a_slip_is_asked_about(name, value, remedy):
    with pytest.raises(InputError) as refused:
        one_case(**{**GIVEN, name: value})
    assert refused.value.field == name
    assert refused.value.value == value
    assert refused.value.remedy.startswith(remedy)


@pytest.mark.parametrize("name", sorted(BOX))
@pytest.mark.parametrize("end", ["low", "high"])
def test_what_is_just_outside_is_refused(name, end):
    value = getattr(BOX[name], end)
    beyond = value + (1e-6 if end == "high" else -1e-6) * max(1.0, abs(value))
    with pytest.raises(InputError) as refused:
        one_case(**{**GIVEN, name: beyond})
    assert refused.value.field == name


def test_a_rear_takes_from_the_front_what_it_leaves_out():
    front = {"air_temperature": 300.0, "air_speed": 8.0}
    around = one_case(**GIVEN, **front, rear_from=0.5).surroundings
    assert around.rear_air_temperature[0] == around.rear_radiant_temperature[0] == 300.0
    assert around.rear_air_speed[0] == 0
    own = one_case(**GIVEN, **front, rear_from=0.5, rear_air_temperature=310.0).surroundings
    assert own.rear_radiant_temperature[0] == 310.0


def test_a_gas_that_is_hardly_warm_may_be_meant():
    case = one_case(**{**GIVEN, "gas_temperature": 310.0}, hardly_warm=True)
    assert case.main_pipe.gas_temperature[0] == 310
    told = "310 K is 36.9 °C"  # 36.85
    with pytest.raises(InputError, match=told):
        one_case(**{**GIVEN, "gas_temperature": 310.0})
    one_case(**{**GIVEN, "gas_temperature": 293.15})  # as cold as the air: a test of sound alone


def test_length_twice_or_nowhere():
    with pytest.raises(InputError, match="twice or nowhere"):
        one_case(**GIVEN, pieces=(Piece(1.2),))
    with pytest.raises(InputError, match="twice or nowhere"):
        one_case(**{name: value for name, value in GIVEN.items() if name != "length"})
