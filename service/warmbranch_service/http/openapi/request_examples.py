"""Requests that the OpenAPI document shows, by route: all invented, all answered with 200.

Each can be sent as it stands. Those of a length are in length/examples.py.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from typing import Any

from warmbranch_service import demo
from warmbranch_service.length import examples as length_examples

Example = dict[str, Any]
Shown = dict[str, Any]
"""Requests by name, as the framework takes them."""

CALIBRATION: dict[str, Any] = {
    "version": 2,
    "model_version": "0.2.0",
    "unknowns": ["stirring", "reach"],
    "mean": [-1.7, 2.3],
    "covariance": [[0.4, -0.1], [-0.1, 0.3]],
}
"""An invented one, of two unknowns."""

SHOP: dict[str, Any] = {
    "version": 2,
    "model_version": "0.2.0",
    "unknowns": ["sharpness", "buoyancy"],
    "mean": [0.1, 0.2],
    "covariance": [[0.18, 0.0], [0.0, 0.45]],
    "shop": {
        "form": 1,
        "learned_at": "2026-11-20",
        "learned_on": {
            "least": {
                "bore_mm": 45,
                "length_mm": 900,
                "gas_temperature_degC": 250,
                "mass_flow_kg_h": 60,
            },
            "most": {
                "bore_mm": 51,
                "length_mm": 1400,
                "gas_temperature_degC": 400,
                "mass_flow_kg_h": 150,
            },
        },
        "unknowns": ["sharpness", "buoyancy"],
        "jobs": [
            {
                "form": 1,
                "name": "blue van",
                "outcome": "fitted",
                "readings": 5,
                "tones": 1,
                "engine_order": 2,
                "place": {
                    "bore_mm": 48,
                    "length_mm": 1150,
                    "gas_temperature_degC": 320,
                    "mass_flow_kg_h": 95,
                },
                "centre": [0.0, 0.0],
                "spread": [0.457, 0.707],
                "seen": [[1.2, -0.4]],
                "shown": [0.6],
                "tone": {
                    "heard": 4.37,
                    "uncertainty": 0.0135,
                    "middle": 4.36,
                    "straight": [-0.004, 0.012],
                    "curved": [0.0005, 0.002],
                    "rest": 0.012,
                    "rest_shift": 0.0002,
                },
            }
        ],
    },
}
"""An invented one, of one job and two unknowns."""


READ_AND_HEARD = "The van, read at four places with two thermometers and heard at 2380 rpm"
DRIVE = "Idle, cruise, stop; with intervals, and a map over weather and air speed"


def _van(**changes: Any) -> Example:
    case = json.loads(demo.demo_text("van"))["case"]
    return {"case": {**case, **changes}}


def _calibrated() -> Example:
    return _van(closures={"calibration": CALIBRATION})


def steady() -> Shown:
    """Of ``POST /v1/steady``."""
    return {
        **demo.openapi_examples(),
        "calibrated": {
            "summary": "The van with what an invented fit learned: predictions carry intervals",
            "value": {
                **_calibrated(),
                "attenuation": {"rpm_from": 1500, "rpm_to": "3500 rpm", "points": 21},
            },
        },
        "taught": {
            "summary": "The van with what an invented shop's jobs taught",
            "value": _van(closures={"calibration": SHOP}),
        },
    }


def fit() -> Shown:
    """Of ``POST /v1/fit``."""
    patch = {"thermometer": "infrared", "surface": "matt black paint"}
    return {
        "readings": {
            "summary": READ_AND_HEARD,
            "value": {
                **_van(),
                "readings": [
                    {**patch, "position_mm": 60, "displayed_degC": 112},
                    {**patch, "position_mm": 120, "displayed_degC": "161 F"},
                    {**patch, "position_mm": 200, "displayed_degC": 41, "uncertainty_K": 3},
                    {"thermometer": "contact", "position_mm": "12 in", "displayed_degC": 27},
                ],
                "heard": [{"quiet_rpm": 2380, "uncertainty_rpm": 25}],
                "time_s": "45 min",
                "target_rpm": 2450,
            },
        },
        "warming": {
            "summary": "The van, read two, five and nine minutes after a cold start",
            "value": {
                **_van(),
                "readings": [
                    {**patch, "position_mm": 60, "displayed_degC": 55, "time_s": 120},
                    {**patch, "position_mm": 150, "displayed_degC": 45, "time_s": "5 min"},
                    {**patch, "position_mm": 150, "displayed_degC": 53, "time_s": 540},
                ],
                "target_rpm": 2450,
            },
        },
        "standing": {
            "summary": "The van, heard on the road and read standing still with the engine at idle",
            "value": {
                **_van(),
                "readings": [
                    {**patch, "position_mm": 60, "displayed_degC": 91},
                    {**patch, "position_mm": 150, "displayed_degC": 57},
                ],
                "while_read": {
                    "air_speed_m_s": 0.5,
                    "air_temperature_degC": "77 F",
                    "gas_temperature_degC": 190,
                    "mass_flow_kg_h": 25,
                },
                "heard": [{"quiet_rpm": 2380, "uncertainty_rpm": 25}],
                "time_s": "1 h",
            },
        },
        **demo.openapi_examples(),
    }


def learn() -> Shown:
    """Of ``POST /v1/learn``."""
    van = fit()["readings"]["value"]
    return {
        "two jobs": {
            "summary": "Two invented jobs: the van, read and heard, and a generator, only heard",
            "value": {
                "jobs": [{"name": "camper van", **van}, {"name": "generator", **_heard()}],
                "learned_at": "2026-11-29",
            },
        },
        "one more": {
            "summary": "A job added to what an invented shop learned before",
            "value": {"jobs": [{"name": "generator", **_heard()}], "earlier": SHOP},
        },
    }


def warmup() -> Shown:
    """Of ``POST /v1/warmup``."""
    return {
        **demo.openapi_examples(),
        "drive": {
            "summary": DRIVE,
            "value": {
                **_calibrated(),
                "duration_min": 15,
                "gas_temperature_curve": [
                    {"time_s": 0, "gas_temperature_degC": 20},
                    {"time_s": 60, "gas_temperature_degC": 180},
                    {"time_s": "5 min", "gas_temperature_degC": 310},
                    {"time_s": 720, "gas_temperature_degC": "590 F"},
                    {"time_s": 780, "gas_temperature_degC": 150},
                ],
                "air_speed_curve": [
                    {"time_s": 0, "air_speed_m_s": 0},
                    {"time_s": 60, "air_speed_m_s": "50 km/h"},
                ],
                "output_times_s": [0, 60, 120, 300, 600, 900],
                "conditions": {
                    "air_temperatures_degC": [-10, 20, 40],
                    "air_speeds_m_s": [0, "80 km/h"],
                },
            },
        },
    }


def length() -> Shown:
    """Of ``POST /v1/length``."""
    return length_examples.openapi_examples()


def sweep() -> Shown:
    """Of ``POST /v1/sweep``."""
    from warmbranch_service.sweep import examples

    return examples.openapi_examples()


def _heard() -> Example:
    """A job that was heard and not read."""
    return {
        "case": json.loads(demo.demo_text("generator"))["case"],
        "heard": [{"quiet_rpm": 1490, "uncertainty_rpm": 15}],
        "time_s": "1 h",
    }


def _as_text(example: Example) -> str:
    return json.dumps(example, indent=2, ensure_ascii=False) + "\n"


def _readings_table() -> str:
    readings = fit()["readings"]["value"]["readings"]
    columns = list(dict.fromkeys(name for reading in readings for name in reading))
    table = io.StringIO()
    writer = csv.DictWriter(table, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(readings)
    return table.getvalue()


FILES: dict[str, tuple[str, Callable[[], str]]] = {
    "fit": (READ_AND_HEARD, lambda: _as_text(fit()["readings"]["value"])),
    "heard": (
        "The generator, heard at 1490 rpm an hour after its start",
        lambda: _as_text(_heard()),
    ),
    "readings": ("The readings of fit alone, as CSV for --readings", _readings_table),
    "warmup": (
        f"The van: {DRIVE[0].lower()}{DRIVE[1:]}",
        lambda: _as_text(warmup()["drive"]["value"]),
    ),
}
"""Description and text of what the command line gives beside the demos, by name."""
