"""Requests for a sweep to start from, built on the invented camper van. Nobody measured it."""

from __future__ import annotations

import json
from typing import Any

from warmbranch.belief.unknown import log_spread
from warmbranch.case.closures import (
    BUOYANCY,
    CAP_PRESSURE,
    MOUTH_EXCHANGE,
    MOUTH_FACTOR,
    OUTER_FILM_FACTOR,
    REACH,
    STIRRED_FILM,
    Prior,
)
from warmbranch.case.surfaces import SURFACES
from warmbranch_service.case.branch import DEFAULT_SURFACE
from warmbranch_service.demo import UNCERTAIN_VAN, demo_text

EMISSIVITY = SURFACES[DEFAULT_SURFACE].emissivity
"""In place of the surface's name, so that it can be varied."""

DESIGNS = 512


def example() -> dict[str, Any]:
    """Closures over their priors, and what is not well known of the van."""
    case = _van()
    del case["branch"]["surface"]
    case["branch"]["emissivity"] = EMISSIVITY
    return {
        "case": case,
        "vary": [
            _lognormal(
                "case.closures.mixing.mouth_exchange_coefficient", MOUTH_EXCHANGE, low=0.001, high=1
            ),
            _lognormal("case.closures.mixing.cap_pressure_Pa", CAP_PRESSURE, low=0, high=20000),
            _lognormal("case.closures.mixing.reach_bores", REACH, low=0.3, high=200),
            _lognormal("case.closures.mixing.buoyancy_factor", BUOYANCY, low=0, high=20),
            _lognormal(
                "case.closures.inner_film.stirred_film_coefficient", STIRRED_FILM, low=0, high=20
            ),
            _lognormal("case.closures.outer_film.factor", OUTER_FILM_FACTOR, low=0.05, high=20),
            _lognormal("case.closures.mouth_correction.factor", MOUTH_FACTOR, low=0, high=3),
            _normal("case.main_pipe.gas_temperature_degC", 310, 30),
            {
                "field": "case.main_pipe.mass_flow_kg_h",
                "lognormal": {"median": 95, "log_standard_deviation": 0.15},
            },
            _normal("case.surroundings.air_temperature_degC", 18, 5),
            {"field": "case.surroundings.air_speed_m_s", "uniform": {"low": 1, "high": 10}},
            {"field": "case.branch.emissivity", "uniform": {"low": 0.25, "high": 0.6}},
            _normal("case.branch.centreline[2].straight_mm", 863, 1.5),
        ],
        "sampling": {"method": "sobol", "count": DESIGNS},
        "outputs": [
            "resonance.quiet_rpm",
            "resonance.quality_factor",
            "effective_temperature_degC",
            "profile.gas_degC[-1]",
        ],
        "transmission_loss_at_rpm": [2350],
    }


def grid_example() -> dict[str, Any]:
    """A small grid: two lengths of the last straight, three gas temperatures, two metals."""
    return {
        "case": _van(),
        "vary": [
            {"field": "/case/branch/centreline/2/straight_mm", "values": [900, "37 in"]},
            {
                "field": "case.main_pipe.gas_temperature_degC",
                "grid": {"from": 250, "to": "700 F", "count": 3},
            },
            {"field": "case.branch.material", "values": ["stainless 304", "mild steel"]},
        ],
    }


def openapi_examples() -> dict[str, Any]:
    """The requests as examples in the OpenAPI document."""
    return {
        "grid": {
            "summary": "The invented camper van over lengths, gas temperatures and metals",
            "value": grid_example(),
        },
        "uncertain": {"summary": UNCERTAIN_VAN, "value": example()},
    }


def example_text() -> str:
    """The request that the command line prints."""
    return json.dumps(example(), indent=2, ensure_ascii=False) + "\n"


def _van() -> dict[str, Any]:
    return json.loads(demo_text("van"))["case"]


def _lognormal(field: str, prior: Prior, *, low: float, high: float) -> dict[str, Any]:
    """A closure over its prior, within what the field admits."""
    spread = float(f"{log_spread(prior):.3g}")
    limits = {"high": high} if low == 0 else {"low": low, "high": high}
    own = {"median": prior.median, "log_standard_deviation": spread, **limits}
    return {"field": field, "lognormal": own}


def _normal(field: str, mean: float, deviation: float) -> dict[str, Any]:
    return {"field": field, "normal": {"mean": mean, "standard_deviation": deviation}}
