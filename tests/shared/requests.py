"""Requests to begin from, as JSON has them: one branch on one pipe, and sweeps."""

from __future__ import annotations

from typing import Any

Json = dict[str, Any]

TUBE: Json = {"outside_diameter_mm": 48.3, "wall_thickness_mm": 1.5}
BRANCH: Json = {**TUBE, "length_mm": 1200}
HOT_PIPE: Json = {
    "outside_diameter_mm": 60.3,
    "wall_thickness_mm": 1.5,
    "gas_temperature_degC": 310,
}
PIPE: Json = {**HOT_PIPE, "mass_flow_kg_h": 95}
ENGINE: Json = {"cylinders": 4}
CASE: Json = {"branch": BRANCH, "main_pipe": PIPE, "engine": ENGINE}

LENGTH, GAS = "case.branch.length_mm", "case.main_pipe.gas_temperature_degC"


def uniform(field: str, low: float, high: float) -> Json:
    """What varies evenly."""
    return {"field": field, "uniform": {"low": low, "high": high}}


def sweep_of(request: Json, *vary: Json, method: str = "sobol", **sampling: int) -> Json:
    """A sweep of what a request asks; ``sampling`` is count and seed."""
    return {**request, "vary": [*vary], "sampling": {"method": method, **sampling}}
