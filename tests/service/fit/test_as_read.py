"""From ``while_read`` to the case as it was read, in SI."""

from __future__ import annotations

import copy
import dataclasses
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from shared.readings import contact, infrared
from warmbranch.base.constants import ICE_POINT
from warmbranch.case import case as physics
from warmbranch.fit.standing import STILL, calm
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch_service.case.convert import to_physics
from warmbranch_service.case.schema import Case
from warmbranch_service.fit.as_read import as_read
from warmbranch_service.fit.observed import known_warm, readings_of
from warmbranch_service.fit.request import WARM_FROM, FitRequest

Body = dict[str, Any]

IDLE = {
    "air_speed_m_s": 0.5,
    "air_temperature_degC": 31,
    "gas_temperature_degC": 190,
    "mass_flow_kg_h": 24,
}
PLACES = {
    "air_speed_m_s": "surroundings",
    "air_temperature_degC": "surroundings",
    "gas_temperature_degC": "main_pipe",
    "mass_flow_kg_h": "main_pipe",
}
"""Where a case has what ``while_read`` tells."""


def parts(value: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """All arrays of a case, by their names."""
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from parts(getattr(value, field.name), f"{name}.{field.name}")
    else:
        yield name, value


def same(one: physics.Case, other: physics.Case, but: tuple[str, ...] = ()) -> bool:
    """Whether two cases are equal to the last digit, but for these."""
    theirs = dict(parts(other))
    for name, value in parts(one):
        if name in but:
            continue
        if isinstance(value, np.ndarray):
            if not np.array_equal(value, theirs[name], equal_nan=value.dtype.kind == "f"):
                return False
        elif value != theirs[name]:
            return False
    return True


def read(case: Body, told: Body) -> physics.Case:
    request = FitRequest.model_validate(
        {"case": case, "readings": [contact(100, 60)], "while_read": told}
    )
    found = as_read(request, to_physics(request.case))
    assert found is not None
    return found


def given(case: Body) -> physics.Case:
    return to_physics(Case.model_validate(case)).given


def with_these(case: Body, told: Body) -> Body:
    """The case in which these numbers stand."""
    changed = copy.deepcopy(case)
    for name, value in told.items():
        changed.setdefault(PLACES[name], {})[name] = value
    return changed


def test_nothing_told_is_no_state_of_its_own(van):
    request = FitRequest.model_validate({**van, "readings": [contact(100, 60)]})
    assert as_read(request, to_physics(request.case)) is None


@pytest.mark.parametrize("told", [IDLE, *({name: value} for name, value in IDLE.items())])
def test_it_is_the_case_with_those_numbers(van, told):
    found = read(van["case"], told)
    assert same(found, given(with_these(van["case"], told)), but=(".main_pipe.mass_flow",))
    flow = told.get("mass_flow_kg_h", van["case"]["main_pipe"]["mass_flow_kg_h"])
    assert found.main_pipe.mass_flow == pytest.approx([flow / 3600], rel=1e-15)
    assert not same(found, given(van["case"]))


def test_a_string_carries_its_unit(van):
    plain = {"air_speed_m_s": 5 * 0.44704, "gas_temperature_degC": 190}
    found = read(van["case"], {"air_speed_m_s": "5 mph", "gas_temperature_degC": "374 F"})
    expected = read(van["case"], plain)
    assert found.surroundings.air_speed == pytest.approx(expected.surroundings.air_speed)
    assert found.main_pipe.gas_temperature == pytest.approx(expected.main_pipe.gas_temperature)


def test_the_cases_own_air_is_the_case(van):
    assert same(read(van["case"], {"air_speed_m_s": 4}), given(van["case"]))


@pytest.mark.parametrize(
    "gas",
    [
        {"engine_load": "cruise"},
        {
            "skin_reading": {
                "thermometer": "contact",
                "displayed_degC": 180,
            }
        },
    ],
)
def test_a_gas_that_was_worked_out_stays_what_it_is_in_the_case(van, gas):
    """Another wind would tell another gas of the same skin; it is the same gas."""
    case = van["case"]
    del case["main_pipe"]["gas_temperature_degC"]
    case["main_pipe"].update(gas)
    own = given(case)
    stood = read(case, {"air_speed_m_s": 0.5})
    assert stood.main_pipe.gas_temperature == own.main_pipe.gas_temperature
    assert stood.main_pipe.mass_flow == own.main_pipe.mass_flow
    at_idle = read(case, {"gas_temperature_degC": 190})
    assert at_idle.main_pipe.gas_temperature == [190 + ICE_POINT]
    assert at_idle.main_pipe.mass_flow == own.main_pipe.mass_flow


@pytest.mark.parametrize(
    "engine", [{"displacement_L": 2, "rpm": 2350, "volumetric_efficiency": 0.6}, {}]
)
def test_a_flow_that_was_worked_out_stays_what_it_is_in_the_case(van, engine):
    """By the engine it goes with the air, and assumed with the gas: neither drove another speed."""
    case = van["case"]
    del case["main_pipe"]["mass_flow_kg_h"]
    case["engine"].update(engine)
    stood = read(case, {"air_temperature_degC": 40, "gas_temperature_degC": 190})
    assert stood.main_pipe.mass_flow == given(case).main_pipe.mass_flow
    warmer = with_these(case, {"air_temperature_degC": 40, "gas_temperature_degC": 190})
    assert stood.main_pipe.mass_flow != given(warmer).main_pipe.mass_flow


def test_a_place_speaks_for_what_is_not_told(van):
    case = van["case"]
    case["surroundings"] = {"place": "under a moving car"}
    own, stood = given(case).surroundings, read(case, {"air_speed_m_s": 0.5}).surroundings
    assert stood.air_speed == [0.5]
    assert (stood.air_temperature, stood.radiant_temperature) == (
        own.air_temperature,
        own.radiant_temperature,
    )
    warmer = read(case, {"air_temperature_degC": 35}).surroundings
    assert warmer.air_speed == own.air_speed
    # The place's own 5 K between its air and what the branch faces are kept.
    assert warmer.radiant_temperature - warmer.air_temperature == pytest.approx([5.0])


def test_the_rear_has_no_more_wind_and_a_shield_its_share(van):
    case = van["case"]
    case["surroundings"].update(rear={"from_mm": 500, "air_speed_m_s": 6})
    assert read(case, {"air_speed_m_s": 1}).surroundings.rear_air_speed == [1]
    assert read(case, {"air_speed_m_s": 12}).surroundings.rear_air_speed == [6]
    assert same(read(case, {"air_speed_m_s": 4}), given(case))  # the very air of the case
    assert read(case, {"gas_temperature_degC": 190}).surroundings.rear_air_speed == [6]
    del case["surroundings"]["rear"]
    case["surroundings"].update(shield={"diameter_mm": 90, "air_speed_share": 0.25})
    assert read(case, {"air_speed_m_s": 2}).surroundings.air_speed == [0.5]


def test_who_says_that_it_stood_gets_the_state_that_the_fit_weighs_unasked(van):
    case = van["case"]
    case["surroundings"].update(rear={"from_mm": 500, "air_speed_m_s": 6})
    assert same(read(case, {"air_speed_m_s": STILL}), calm(given(case)))


def test_a_stated_skin_is_of_the_case_and_follows_what_was_otherwise(van):
    """The main pipe's film that gives 180 °C in the wind gives more out of it."""
    case = van["case"]
    case["main_pipe"]["skin_temperature_degC"] = 180

    def skin(told: Body) -> float:
        found = read(case, told)
        gas, around = MixtureTable.of(found.gas), found.surroundings
        wall = wall_temperature(found.main_pipe, gas, around, dry_air_table())
        return float(wall[0]) - ICE_POINT

    # Newton's last step is a hundred-thousandth of a kelvin at most.
    assert skin({"air_speed_m_s": 4}) == pytest.approx(180, abs=1e-4)
    assert 183 < skin({"air_speed_m_s": 0.5}) < 310
    assert skin({"gas_temperature_degC": 190}) < 130


def test_late_readings_are_of_the_settled_branch(van):
    """With a time of their own, or of all, from which on a branch counts as warm."""
    body = {
        **van,
        "readings": [contact(100, 60, time_s=WARM_FROM), contact(200, 40)],
        "while_read": {"air_speed_m_s": 0.5},
    }
    for times in ({}, {"time_s": "1 h"}):
        request = FitRequest.model_validate({**body, **times})
        assert not readings_of(request, to_physics(request.case)).timed.any()
        assert known_warm(request)  # somebody told how long it had run
    without = FitRequest.model_validate({**body, "while_read": None})
    assert readings_of(without, to_physics(without.case)).timed.tolist() == [True, False]
    untold = FitRequest.model_validate({**body, "readings": [contact(200, 40)]})
    assert not known_warm(untold)


def test_a_thermometer_reckons_with_the_air_about_it(van):
    """It takes reflection off at the air's temperature: that in which it was held."""
    body = {**van, "readings": [infrared(100, 60)], "while_read": {"air_temperature_degC": 31}}
    request = FitRequest.model_validate(body)
    converted = to_physics(request.case)
    assert readings_of(request, converted).reflected_set == [31 + ICE_POINT]
    other = FitRequest.model_validate({**body, "while_read": {"air_speed_m_s": 1}})
    assert readings_of(other, converted).reflected_set == [18 + ICE_POINT]
