"""What must hold between two answers, whatever the numbers are: drawn requests over the API.

No number is known beforehand; each test says how one answer follows from another.
"""

from __future__ import annotations

import copy
import json
import math
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from shared.readings import contact

Body = dict[str, Any]

SAME = 1e-9
"""Relative. Twelve digits of a converted value are kept, and answers tell six and more."""

ROUNDED = 0.005 + 1e-9
"""K. Answers tell temperatures to a hundredth."""

search = settings(
    max_examples=15,  # of a smooth interior; corners of the box are tests/service/case's
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)

cases = st.fixed_dictionaries(
    {
        "branch": st.fixed_dictionaries(
            {
                "outside_diameter_mm": st.floats(30, 76),
                "wall_thickness_mm": st.floats(0.8, 3),
                "length_mm": st.floats(400, 2000),
            }
        ),
        "main_pipe": st.fixed_dictionaries(
            {
                "outside_diameter_mm": st.floats(77, 100),
                "wall_thickness_mm": st.floats(0.8, 3),
                "gas_temperature_degC": st.floats(120, 700),
                "mass_flow_kg_h": st.floats(20, 400),
            }
        ),
        "surroundings": st.fixed_dictionaries(
            {
                "air_temperature_degC": st.floats(-20, 40),
                "air_speed_m_s": st.floats(0, 20),
            }
        ),
    }
)


@pytest.fixture
def answer(client):
    def post(case: Body) -> Body:
        response = client.post("/v1/steady", json={"case": case})
        assert response.status_code == 200, response.text
        return response.json()

    return post


def first(answer: Body) -> float:
    return answer["resonance"]["frequency_Hz"][0]


def changed(case: Body, part: str, field: str, value: object) -> Body:
    other = copy.deepcopy(case)
    other[part][field] = value
    return other


@search
@given(case=cases, factor=st.floats(1.02, 1.5))
def test_a_longer_branch_sounds_lower(answer, case, factor):
    longer = changed(case, "branch", "length_mm", case["branch"]["length_mm"] * factor)
    assert first(answer(longer)) < first(answer(case))


@search
@given(case=cases, rise=st.floats(10, 200))
def test_hotter_gas_sounds_higher(answer, case, rise):
    hot = case["main_pipe"]["gas_temperature_degC"] + rise
    hotter = changed(case, "main_pipe", "gas_temperature_degC", hot)
    assert first(answer(hotter)) > first(answer(case))


@search
@given(case=cases, unit=st.sampled_from([("in", 25.4), ("cm", 10.0), ("ft", 304.8), ("m", 1000)]))
def test_a_length_in_another_unit_is_the_same_length(answer, case, unit):
    name, millimetres = unit
    length = float(f"{case['branch']['length_mm'] / millimetres:.9g}")
    told = changed(case, "branch", "length_mm", f"{length} {name}")
    plain = changed(case, "branch", "length_mm", length * millimetres)
    assert first(answer(told)) == pytest.approx(first(answer(plain)), rel=SAME)


@search
@given(case=cases)
def test_every_answer_is_one_that_nature_could_give(answer, case):
    """Gas between the temperatures about it, no heat gained, resonances in order, all above 0."""
    assume(case["main_pipe"]["gas_temperature_degC"] > case["surroundings"]["air_temperature_degC"])
    given_back = answer(case)
    gas, coldest = given_back["profile"]["gas_degC"], case["surroundings"]["air_temperature_degC"]
    hottest = case["main_pipe"]["gas_temperature_degC"]
    assert all(coldest - ROUNDED <= value <= hottest + ROUNDED for value in gas)
    assert gas == sorted(gas, reverse=True)
    found = [f for f in given_back["resonance"]["frequency_Hz"] if f is not None]
    assert found == sorted(set(found))
    assert found[0] > 0
    assert given_back["heat"]["entering_W"] >= 0
    assert abs(given_back["heat"]["closure_error"]) < 1e-6
    assert all(math.isfinite(value) for value in gas)


@search
@given(case=cases, lengths=st.lists(st.floats(400, 2000), min_size=1, max_size=5, unique=True))
def test_a_line_of_a_sweep_is_the_answer_of_its_design(client, answer, case, lengths):
    field, output = "case.branch.length_mm", "resonance.frequency_Hz[0]"
    body = {"case": case, "vary": [{"field": field, "values": lengths}], "outputs": [output]}
    response = client.post("/v1/sweep", json=body)
    assert response.status_code == 200
    rows = [json.loads(line) for line in response.text.splitlines() if '"index"' in line]
    for row, length in zip(rows, lengths, strict=True):
        assert row["inputs"][field] == length
        alone = first(answer(changed(case, "branch", "length_mm", length)))
        assert row["outputs"][output] == pytest.approx(alone, rel=SAME)


READINGS = [
    contact(place, told) for place, told in ((120, 152.4), (250, 110.0), (450, 77.9), (640, 60.0))
]


def test_readings_in_any_order_are_the_same_fit(client, smallest):
    def quiet(readings: list[Body]) -> float:
        response = client.post("/v1/fit", json={**smallest, "readings": readings})
        assert response.status_code == 200, response.text
        return response.json()["prediction"]["resonance_Hz"]["median"]

    as_told = quiet(READINGS)
    for order in ((3, 2, 1, 0), (1, 3, 0, 2)):
        assert quiet([READINGS[i] for i in order]) == pytest.approx(as_told, rel=1e-6), order


@settings(parent=search, max_examples=3)
@given(case=cases)
def test_a_fit_without_data_is_the_prior(client, case):
    response = client.post("/v1/fit", json={"case": case, "readings": []})
    assert response.status_code == 200, response.text
    found = response.json()
    assert found["outcome"] == "prior-dominated"
    told = found["prediction"]
    assert told["resonance_Hz"] == told["before_fit"]["resonance_Hz"]
    assert all(one["interval_90"] == one["prior_90"] for one in found["parameters"])


INCHES = ("outside_diameter_mm", "wall_thickness_mm", "length_mm")
WARMTH = (("main_pipe", "gas_temperature_degC"), ("surroundings", "air_temperature_degC"))


@search
@given(case=cases)
def test_a_case_in_inches_fahrenheit_and_mph_is_the_same_case(answer, case):
    """Every number of it at once, as somebody in another country would write it."""
    plain, told = copy.deepcopy(case), copy.deepcopy(case)
    for part in ("branch", "main_pipe"):
        for name in INCHES:
            if name in case[part]:
                inches = float(f"{case[part][name] / 25.4:.9g}")
                plain[part][name], told[part][name] = inches * 25.4, f"{inches} in"
    for part, name in WARMTH:
        fahrenheit = float(f"{case[part][name] * 1.8 + 32:.9g}")
        plain[part][name], told[part][name] = (fahrenheit - 32) / 1.8, f"{fahrenheit} F"
    mph = float(f"{case['surroundings']['air_speed_m_s'] / 0.44704:.9g}")
    plain["surroundings"]["air_speed_m_s"] = mph * 0.44704
    told["surroundings"]["air_speed_m_s"] = f"{mph} mph"
    one, other = answer(plain), answer(told)
    assert first(other) == pytest.approx(first(one), rel=SAME)
    assert other["profile"]["gas_degC"] == pytest.approx(
        one["profile"]["gas_degC"], abs=2 * ROUNDED
    )


@search
@given(case=cases, bend=st.floats(10, 90))
def test_a_bend_of_the_same_length_sounds_no_lower(answer, case, bend):
    """A bend carries less inertance than a straight of its centre-line's length."""
    length, radius = case["branch"]["length_mm"], 2 * case["branch"]["outside_diameter_mm"]
    along = math.radians(bend) * radius
    assume(along < 0.9 * length)
    bent = copy.deepcopy(case)
    del bent["branch"]["length_mm"]
    bent["branch"]["centreline"] = [
        {"bend_deg": bend, "bend_radius_mm": radius},
        {"straight_mm": length - along},
    ]
    assert first(answer(bent)) >= first(answer(case)) * (1 - 1e-6)


@search
@given(case=cases, more=st.floats(1.1, 10))
def test_more_wind_leaves_the_branch_no_warmer_and_no_higher(answer, case, more):
    assume(case["surroundings"]["air_speed_m_s"] > 1)
    windier = changed(
        case, "surroundings", "air_speed_m_s", min(60, case["surroundings"]["air_speed_m_s"] * more)
    )
    one, other = answer(case), answer(windier)
    assert other["profile"]["skin_degC"][-1] <= one["profile"]["skin_degC"][-1] + 2 * ROUNDED
    assert first(other) <= first(one) * (1 + 1e-5)


@search
@given(case=cases)
def test_a_line_of_a_sweep_has_every_number_of_its_answer(client, answer, case):
    outputs = {
        "resonance.frequency_Hz[0]": lambda a: a["resonance"]["frequency_Hz"][0],
        "effective_temperature_degC": lambda a: a["effective_temperature_degC"],
        "mouth_correction_mm": lambda a: a["mouth_correction_mm"],
        "heat.entering_W": lambda a: a["heat"]["entering_W"],
    }
    gas = case["main_pipe"]["gas_temperature_degC"]
    vary = [{"field": "case.main_pipe.gas_temperature_degC", "values": [gas, gas + 10]}]
    body = {"case": case, "vary": vary, "outputs": list(outputs)}
    response = client.post("/v1/sweep", json=body)
    assert response.status_code == 200, response.text
    line = json.loads(next(text for text in response.text.splitlines() if '"index"' in text))
    alone = answer(case)
    for name, of in outputs.items():
        assert line["outputs"][name] == pytest.approx(of(alone), rel=1e-4, abs=0.011), name
