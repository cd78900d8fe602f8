"""Requests for a length to start from, built on the invented demos. Nobody measured them."""

from __future__ import annotations

import copy
import json
from typing import Any

from warmbranch_service.demo import demo_text

EXAMPLES: dict[str, tuple[str, str, dict[str, Any]]] = {
    "length": (
        "van",
        "The invented camper van that drones at 2350 rpm: one length, and where to put it",
        {
            "target": {"quiet_rpm": 2350},
            "space_mm": [900, 300, 220],
            "place": {
                "pipe_length_mm": 3200,
                "position_mm": 2900,
                "free_from_mm": 600,
                "free_to_mm": 3000,
                "open_end_gas_temperature_degC": 240,
            },
        },
    ),
    "loudness": (
        "van",
        "The same van, its loudness as a phone told it, and five ways of running",
        {
            "target": {
                "loudness": [
                    {"rpm": 1500, "level_dB": 64},
                    {"rpm": 1900, "level_dB": 68},
                    {"rpm": 2200, "level_dB": 75},
                    {"rpm": 2350, "level_dB": 79},
                    {"rpm": 2500, "level_dB": 76},
                    {"rpm": 2800, "level_dB": 70},
                    {"rpm": 3300, "level_dB": 69},
                ]
            },
            "operating_points": [
                {"name": "cruise", "weight": 6},
                {
                    "name": "cold start",
                    "weight": 1,
                    "gas_temperature_degC": 180,
                    "mass_flow_kg_h": 60,
                    "air_speed_m_s": 0,
                },
                {
                    "name": "hill",
                    "weight": 1,
                    "gas_temperature_degC": 450,
                    "mass_flow_kg_h": 150,
                    "excess_air_ratio": 0.9,
                },
                {"name": "summer", "weight": 2, "air_temperature_degC": 35},
                {"name": "winter", "weight": 2, "air_temperature_degC": -10},
            ],
            "two_branches": {"arrangement": "same pipe", "spacing_mm": 400},
        },
    ),
}
"""Name to the demo it stands on, a description, and what it asks beside the case."""


def example(name: str) -> dict[str, Any]:
    """One request, its caller's own."""
    demo, _, asked = EXAMPLES[name]
    return {"case": json.loads(demo_text(demo))["case"], **copy.deepcopy(asked)}


def openapi_examples() -> dict[str, Any]:
    """The requests as examples in the OpenAPI document."""
    return {name: {"summary": EXAMPLES[name][1], "value": example(name)} for name in EXAMPLES}


def example_text(name: str) -> str:
    """One request as JSON text."""
    return json.dumps(example(name), indent=2, ensure_ascii=False) + "\n"
