"""Everywhere inside the admissible box there is an answer, and no body makes the service fail."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shared.posting import leaves
from warmbranch.case.materials import METALS
from warmbranch.case.surfaces import SURFACES
from warmbranch.gas.combustion import FUELS, LEANEST, RICHEST

JSON = {"content-type": "application/json"}
# The client is one for the session and keeps nothing between requests.
COMMON = {"deadline": None, "suppress_health_check": [HealthCheck.function_scoped_fixture]}


def between(low, high):
    # Nine decimals: what a person, or a program that means it, would write.
    return st.floats(low, high).map(lambda x: min(max(round(x, 9), low), high))


def ends(low, high):
    """Numbers of a range in which its ends come up often."""
    return st.one_of(st.sampled_from([low, high]), between(low, high))


def with_a_bore(main_pipe):
    """5 mm of it at least."""
    thickest = (main_pipe["outside_diameter_mm"] - 5) / 2
    return main_pipe | {"wall_thickness_mm": min(main_pipe["wall_thickness_mm"], thickest)}


tube = st.fixed_dictionaries(
    {"outside_diameter_mm": ends(15, 150), "wall_thickness_mm": ends(0.5, 5)}
)

main_tube = st.fixed_dictionaries(
    {"outside_diameter_mm": ends(15, 600), "wall_thickness_mm": ends(0.5, 12)}
).map(with_a_bore)


@st.composite
def cases(draw):
    branch = draw(tube)
    bore = branch["outside_diameter_mm"] - 2 * branch["wall_thickness_mm"]
    branch |= {
        "length_mm": draw(ends(3 * bore, 6000)),
        "rise_deg": draw(ends(-90, 90)),
        "material": draw(st.sampled_from(sorted(METALS))),
    }
    if draw(st.booleans()):
        branch["surface"] = draw(st.sampled_from(sorted(SURFACES)))
    else:
        branch["emissivity"] = draw(ends(0, 1))
    if draw(st.booleans()):
        branch["wrap"] = {
            "thickness_mm": draw(ends(0, 50)),
            "conductivity_W_mK": draw(ends(0.02, 1)),
        }
    gas = {
        "fuel": draw(st.sampled_from(sorted(FUELS))),
        "excess_air_ratio": draw(ends(RICHEST, LEANEST)),
    }
    case = {
        "branch": branch,
        "main_pipe": draw(main_tube)
        | {
            "gas_temperature_degC": draw(ends(-40, 1000)),
            "gas": gas,
            "mass_flow_kg_h": draw(ends(0, 20000)),
        },
        "surroundings": {
            "air_temperature_degC": draw(ends(-40, 60)),
            "pressure_kPa": draw(ends(50, 200)),
            "air_speed_m_s": draw(ends(0, 60)),
            "relative_humidity_percent": draw(ends(0, 100)),
        },
        "engine": {"cylinders": draw(st.integers(1, 24))},
    }
    closures = {}
    if draw(st.booleans()):
        closures["mixing"] = {"model": "fixed", "diffusivity_m2_s": draw(ends(0, 1))}
    for name in ("inner_film", "outer_film"):
        if draw(st.booleans()):
            closures[name] = {"model": "fixed", "coefficient_W_m2K": draw(ends(0.1, 1000))}
    return case | {"closures": closures}


def finite(answer):
    return all(math.isfinite(value) for value in leaves(answer) if isinstance(value, float))


@settings(max_examples=20, **COMMON)  # thousands of corners: test_corners.py
@given(case=cases())
def test_every_admitted_case_is_answered(client, case):
    response = client.post("/v1/steady", json={"case": case})
    answer = response.json()
    if response.status_code == 422:
        (entry,) = answer["errors"]
        assert entry["code"] == "mass_flow_out_of_range", response.text
        # What stands in its place is admitted.
        case["main_pipe"]["mass_flow_kg_h"] = float(entry["remedy"].split()[3])
        response = client.post("/v1/steady", json={"case": case})
        answer = response.json()
    assert response.status_code == 200, response.text
    assert finite(answer)
    heat = answer["heat"]
    # What leaves the service is heat to five digits: the balance must hold to them. (Its own limit
    # is held in the models' tests.) Under 1 µW, rounding of radiation to and fro is left.
    assert heat["closure_error"] < 1e-6 or abs(heat["entering_W"]) < 1e-6
    if answer["resonance"]["frequency_Hz"][0] is None:
        assert answer["outcome"] == "no resonance"
        assert "overdamped" in [caution["code"] for caution in answer["cautions"]]


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda children: (
        st.lists(children, max_size=3) | st.dictionaries(st.text(max_size=8), children, max_size=3)
    ),
    max_leaves=6,
)


def places(value, way=()):
    yield way
    if isinstance(value, dict):
        for key, child in value.items():
            yield from places(child, (*way, key))
    elif isinstance(value, list):
        for index, child in enumerate(value):
            yield from places(child, (*way, index))


@settings(max_examples=300, **COMMON)
@given(data=st.data())
def test_no_body_makes_the_service_fail(client, van, data):
    way = data.draw(st.sampled_from(list(places(van))))
    value = data.draw(anything)
    body = json.loads(json.dumps(van))
    if way:
        here = body
        for part in way[:-1]:
            here = here[part]
        here[way[-1]] = value
    else:
        body = value
    response = client.post("/v1/steady", content=json.dumps(body), headers=JSON)
    assert response.status_code in (200, 422), response.text
    if response.status_code == 422:
        problem = json.loads(response.content)
        assert finite(problem)
        for entry in problem["errors"]:
            around = "".join(f"/{part}" for part in way[:-1])
            # What is wrong is in the object round the change, or that object itself.
            assert entry["pointer"].startswith(around) or around.startswith(entry["pointer"])


@settings(max_examples=200, **COMMON)
@given(body=st.binary(max_size=60))
def test_no_bytes_make_the_service_fail(client, body):
    response = client.post("/v1/steady", content=body, headers=JSON)
    assert response.status_code in (400, 422)
    assert response.headers["content-type"] == "application/problem+json"


@pytest.mark.exhaustive
@settings(max_examples=1500, **COMMON)
@given(case=cases())
def test_every_admitted_case_is_answered_at_length(client, case):
    response = client.post("/v1/steady", json={"case": case})
    assert response.status_code == 200, response.text
    assert finite(response.json())
