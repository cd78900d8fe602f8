"""The main gas temperature left out: from the main pipe's skin, from the engine's load."""

from __future__ import annotations

import copy
import json

import pytest

from warmbranch_service.demo import demo_text

VAN = json.loads(demo_text("van"))


def van(**pipe):
    """The invented van with other fields of the main pipe; None takes one out."""
    body = copy.deepcopy(VAN)
    for name, value in pipe.items():
        if value is None:
            body["case"]["main_pipe"].pop(name, None)
        else:
            body["case"]["main_pipe"][name] = value
    return body


def main_skin(client, body):
    """Skin of the main pipe at the mouth that the model itself finds."""
    return client.post("/v1/steady", json=body).json()["profile"]["wall_degC"][0]


@pytest.mark.parametrize("flow", [95, None], ids=["flow given", "flow assumed"])
def test_the_models_own_skin_returns_its_gas(client, flow):
    given = van(mass_flow_kg_h=flow)
    skin = main_skin(client, given)
    reading = {"displayed_degC": skin, "thermometer": "contact"}
    body = van(mass_flow_kg_h=flow, gas_temperature_degC=None, skin_reading=reading)
    answer = client.post("/v1/steady", json=body).json()
    # The skin is told to 0.01 K, and the gas moves by some 2 K a kelvin of skin.
    assert answer["main_pipe"]["gas_temperature_degC"] == pytest.approx(310, abs=0.03)
    assert answer["main_pipe"]["gas_temperature_from"] == "skin reading"
    low, high = answer["main_pipe"]["gas_temperature_90_degC"]
    assert low < 310 < high
    assert any("main pipe's skin" in said for said in answer["assumptions"])


def test_a_skin_typed_as_gas_is_too_short_and_read_as_skin_is_not(client):
    target = {"target": {"quiet_rpm": 2350}, "diameters": False}
    given = van()
    skin = main_skin(client, given)
    right = client.post("/v1/length", json=given | target).json()
    slip = client.post("/v1/length", json=van(gas_temperature_degC=skin) | target).json()
    reading = {"displayed_degC": skin, "thermometer": "contact"}
    body = van(gas_temperature_degC=None, skin_reading=reading)
    read = client.post("/v1/length", json=body | target).json()
    assert slip["centreline_length_mm"] < right["centreline_length_mm"] - 20
    # Gas back within 0.03 K, and 0.9 mm for each kelvin of gas at the most.
    assert read["centreline_length_mm"] == pytest.approx(right["centreline_length_mm"], abs=0.05)
    # What is less sure is built longer.
    assert read["build_length_mm"] > right["build_length_mm"]


@pytest.mark.parametrize("load", ["idle", "cruise", "hard"])
def test_a_load_is_a_wide_guess_and_says_so(client, load):
    body = van(gas_temperature_degC=None, engine_load=load)
    answer = client.post("/v1/steady", json=body).json()
    low, high = answer["main_pipe"]["gas_temperature_90_degC"]
    assert high - low > 150
    assert "uncertain_gas_temperature" in {caution["code"] for caution in answer["cautions"]}
    assert any(f"at {load}; nothing was measured" in said for said in answer["assumptions"])
    target = {"target": {"quiet_rpm": 2350}, "diameters": False}
    wide = client.post("/v1/length", json=body | target).json()["right_length_90_mm"]
    known = client.post("/v1/length", json=van() | target).json()["right_length_90_mm"]
    assert wide[1] - wide[0] > known[1] - known[0]


def test_a_fit_starts_as_unsure_as_the_gas_is(client):
    prior = {}
    for name, body in {
        "given": van(),
        "load": van(gas_temperature_degC=None, engine_load="cruise"),
    }.items():
        answer = client.post("/v1/fit", json=body).json()
        ranges = {p["name"]: p["prior_90"] for p in answer["parameters"]}
        low, high = ranges["gas_temperature"]
        prior[name] = high - low
    assert prior["load"] > 1.5 * prior["given"]


REFUSED = [
    (van(gas_temperature_degC=None), "no_gas_temperature", "skin_reading"),
    (van(engine_load="hard"), "gas_temperature_given_twice", "Give one of"),
    (
        van(gas_temperature_degC=None, skin_reading={"displayed_degC": 900}, mass_flow_kg_h=1),
        "skin_too_hot",
        "Check the unit",
    ),
    (
        van(
            gas_temperature_degC=None,
            skin_reading={"displayed_degC": 200},
            surface=None,
            emissivity=0,
        ),
        "skin_mirrors",
        "the reading's own emissivity",
    ),
    (van(gas_temperature_degC=None, engine_load="fast"), "unknown_name", "idle, cruise, hard"),
]


@pytest.mark.parametrize(("body", "code", "remedy"), REFUSED, ids=[row[1] for row in REFUSED])
def test_what_tells_no_gas_is_refused_with_a_remedy(client, body, code, remedy):
    response = client.post("/v1/steady", json=body)
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert entry["code"] == code
    assert remedy in entry["remedy"]
