"""``POST /v1/fit`` from the outside: what is refused, and where the refusal points."""

from __future__ import annotations

from typing import Any

import pytest

from shared.posting import refusals
from shared.readings import contact, infrared

Body = dict[str, Any]


@pytest.fixture
def refused(client):
    """Post a request that must be refused, and return its first entry."""
    return refusals(client, "/v1/fit")


@pytest.mark.parametrize(
    ("reading", "pointer", "code"),
    [
        (contact(2000, 60), "/readings/0/position_mm", "beyond_the_cap"),
        (contact(-1, 60), "/readings/0/position_mm", "out_of_range"),
        (contact(300, -300), "/readings/0/displayed_degC", "out_of_range"),
        (contact(300, 1200), "/readings/0/displayed_degC", "out_of_range"),
        (infrared(300, 60, emissivity_set=0), "/readings/0/emissivity_set", "out_of_range"),
        (infrared(300, 60, emissivity_set=1.1), "/readings/0/emissivity_set", "out_of_range"),
        (infrared(300, 60, emissivity=0.9), "/readings/0/emissivity", "surface_given_twice"),
        (infrared(300, 60, surface="velvet"), "/readings/0/surface", "unknown_name"),
        (infrared(300, 60, distance_mm=300), "/readings/0/distance_to_spot", "half_a_spot"),
        (infrared(300, 60, uncertainty_K=0), "/readings/0/uncertainty_K", "out_of_range"),
        ({"position_mm": 1, "displayed_degC": 2}, "/readings/0", "no_model"),
    ],
)
def test_impossible_readings_are_refused(refused, van, reading, pointer, code):
    entry = refused({**van, "readings": [reading]})
    assert entry["pointer"] == pointer
    assert entry["code"] == code
    assert entry["remedy"]


def test_a_reading_without_a_thermometer_is_told_which_there_are(refused, van):
    entry = refused({**van, "readings": [{"position_mm": 1, "displayed_degC": 2}]})
    assert entry["detail"] == "It is not said which thermometer is meant."
    assert entry["remedy"] == 'Give "thermometer": one of "infrared", "contact", then its numbers.'
    unknown = {"thermometer": "pyrometer", "position_mm": 1, "displayed_degC": 2}
    assert "no such thermometer" in refused({**van, "readings": [unknown]})["detail"]


@pytest.mark.parametrize(
    ("more", "pointer", "code"),
    [
        ({"heard": [{}]}, "/heard/0/quiet_rpm", "no_tone"),
        ({"heard": [{"quiet_rpm": 1, "frequency_Hz": 1}]}, "/heard/0/quiet_rpm", "out_of_range"),
        (
            {"heard": [{"quiet_rpm": 2000, "frequency_Hz": 100}]},
            "/heard/0/quiet_rpm",
            "tone_given_twice",
        ),
        (
            {"heard": [{"quiet_rpm": 2000, "uncertainty_Hz": 1}]},
            "/heard/0/uncertainty_Hz",
            "stray_uncertainty",
        ),
        (
            {"heard": [{"quiet_rpm": 2000, "centreline_length_mm": 50}]},
            "/heard/0/centreline_length_mm",
            "length_out_of_range",
        ),
        ({"target_rpm": 2000, "target_Hz": 100}, "/target_Hz", "target_given_twice"),
        ({"unknowns": {"fixed": ["warmth"]}}, "/unknowns/fixed/0", "unknown_name"),
        ({"reading": []}, "/reading", "unknown_field"),
    ],
)
def test_other_impossible_things_are_refused(refused, van, more, pointer, code):
    entry = refused({**van, **more})
    assert (entry["pointer"], entry["code"]) == (pointer, code)


@pytest.mark.parametrize("emissivity", [0, 0.009])
def test_a_skin_that_mirrors_cannot_be_read(client, refused, smallest, put, emissivity):
    put(smallest, "case.branch.emissivity", emissivity)
    seen = {"thermometer": "infrared", "position_mm": 100, "displayed_degC": 60}
    touched = {**seen, "thermometer": "contact"}
    entry = refused({**smallest, "readings": [touched, seen]})
    assert (entry["pointer"], entry["code"]) == ("/case/branch/emissivity", "skin_mirrors")
    assert "readings[1]" in entry["detail"]
    for reading in (touched, {**seen, "emissivity": 0.95}, {**seen, "surface": "matt black paint"}):
        response = client.post("/v1/fit", json={**smallest, "readings": [reading]})
        assert response.status_code == 200, response.text


@pytest.mark.parametrize("more", [{"heard": [{"quiet_rpm": 2000}]}, {"target_rpm": 2000}])
def test_engine_speeds_need_an_engine(refused, smallest, more):
    assert refused({**smallest, **more})["code"] == "no_engine"


@pytest.mark.parametrize("shown", [-50, "223.15 K", 1000, "1832 F"])
def test_the_ends_of_what_thermometers_show_are_admitted(client, van, shown):
    response = client.post("/v1/fit", json={**van, "readings": [contact(100, shown)]})
    assert response.status_code == 200, response.text


def test_a_branch_without_a_resonance_is_refused_at_the_branch(refused):
    """A short chamber before narrow tubes, behind 146 mm of mouth: no draw sounds."""
    case = {
        "branch": {
            "outside_diameter_mm": 87.9,
            "wall_thickness_mm": 3,
            "centreline": [
                {"bend_deg": 10, "bend_radius_mm": 125},
                {"straight_mm": 289, "outside_diameter_mm": 15},
                {"bend_deg": 174, "bend_radius_mm": 80, "outside_diameter_mm": 35.4},
                {"bend_deg": 77.5, "bend_radius_mm": 80, "outside_diameter_mm": 60.8},
            ],
        },
        "main_pipe": {
            "outside_diameter_mm": 32,
            "wall_thickness_mm": 5,
            "gas_temperature_degC": 500,
        },
        "closures": {"mouth_correction": {"model": "fixed", "length_mm": 146.4}},
    }
    entry = refused({"case": case, "readings": []})
    assert (entry["code"], entry["pointer"]) == ("refused_by_physics", "/case/branch/length_mm")
    assert "no resonance" in entry["detail"]
