"""Lengths where the tone falls far more steeply than a quarter wave's."""

from __future__ import annotations

import json

import pytest

from warmbranch_service.contract.errors import Problem
from warmbranch_service.local import length_of, steady_of

WANTED = 101.4
"""Hz, of a branch that ends in a chamber: there the tone falls six times as fast as the length."""

CASE = {
    "branch": {
        "outside_diameter_mm": 36,
        "wall_thickness_mm": 2,
        "centreline": [
            {"straight_mm": 469},
            {"straight_mm": 290, "outside_diameter_mm": 146},
            {"bend_deg": 60, "bend_radius_mm": 150, "outside_diameter_mm": 21.5},
        ],
    },
    "main_pipe": {"outside_diameter_mm": 210, "wall_thickness_mm": 3.5, "engine_load": "hard"},
}


def test_a_length_within_a_chamber_is_found():
    found = length_of(json.dumps({"case": CASE, "target": {"frequency_Hz": WANTED}}).encode())
    assert 480 < found.centreline_length_mm < 530
    there = json.loads(json.dumps(CASE))
    straight = found.centreline_length_mm - 469
    there["branch"]["centreline"][1:] = [{"straight_mm": straight, "outside_diameter_mm": 146}]
    answer = steady_of(json.dumps({"case": there}).encode())
    # To the hundredth of a millimetre that the length is told to.
    assert answer.resonance.frequency_Hz[0] == pytest.approx(WANTED, abs=0.02)


def test_a_tone_that_losses_take_is_refused_in_words():
    """15 mm of bore before chambers of 84: below 31 Hz the first resonance is lost, and the next
    that is left is eight times as high."""
    wide = {"bend_deg": 127.7, "bend_radius_mm": 111, "outside_diameter_mm": 84.2}
    case = {
        "branch": {
            "outside_diameter_mm": 15,
            "wall_thickness_mm": 0.5,
            "rise_deg": -90,
            "mouth_angle_deg": 30,
            "centreline": [wide, wide, {"bend_deg": 100.7, "bend_radius_mm": 80}],
        },
        "main_pipe": {
            "outside_diameter_mm": 15,
            "wall_thickness_mm": 0.5,
            "engine_load": "hard",
            "emissivity": 0,
        },
    }
    with pytest.raises(Problem) as caught:
        length_of(json.dumps({"case": case, "target": {"frequency_Hz": 30}}).encode())
    (entry,) = caught.value.errors
    assert entry.code == "target_out_of_reach"
    assert "Losses leave" in entry.detail
