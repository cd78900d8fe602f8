"""Corners of the admissible box: every number of a request at one of its ends, or left alone.

cases       so many, drawn with a seed, as the service admits them
admitted    those of them that no rule across fields refuses, as one batch of the physics
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from typing import Any

import numpy as np
from pydantic import ValidationError

from warmbranch.case import case as physics
from warmbranch.case.materials import METALS
from warmbranch.gas.combustion import FUELS, LEANEST, RICHEST
from warmbranch_service.case.convert import refused_flows
from warmbranch_service.case.convert_batch import to_batch
from warmbranch_service.case.schema import Case

Json = dict[str, Any]

LONGEST = 6000.0


class _Dice:
    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)

    def of(self, *values: Any) -> Any:
        return values[self._rng.integers(len(values))]

    def often(self, share: float) -> bool:
        return bool(self._rng.random() < share)


def one(dice: _Dice) -> Json:
    """One request's case, which a rule across fields may still refuse."""
    of, often = dice.of, dice.often
    outside, wall = of(15, 150), of(0.5, 5)
    bore = outside - 2 * wall
    branch: Json = {
        "outside_diameter_mm": outside,
        "wall_thickness_mm": wall,
        "cap_thickness_mm": of(0.3, 20),
        "material": of(*sorted(METALS), {"conductivity_W_mK": of(1, 500),
                                         "density_kg_m3": 7900, "heat_capacity_J_kgK": 500}),
        "emissivity": of(0, 1),
        "rise_deg": of(-90, 0, 90),
    }  # fmt: skip
    length = of(3 * bore * (1 + 1e-9), LONGEST)
    if often(0.3):
        radius = of(0.51, 5) * outside
        degrees = min(720.0, np.degrees(0.9 * length / radius))
        rest = length - np.radians(degrees) * radius
        branch["centreline"] = [
            {"bend_deg": degrees, "bend_radius_mm": radius},
            {"straight_mm": rest},
        ]
    else:
        branch["length_mm"] = length
    if often(0.4):
        branch["wrap"] = {"thickness_mm": of(0, 50), "conductivity_W_mK": of(0.02, 1)}
    main: Json = {
        "outside_diameter_mm": of(15, 150, 600),
        "wall_thickness_mm": of(0.5, 5, 12),
        "gas_temperature_degC": of(-40, 1000),
        "gas": {"fuel": of(*sorted(FUELS)), "excess_air_ratio": of(RICHEST, LEANEST)},
        "mass_flow_kg_h": of(0, 1, 100, 3000, 20000),
        "emissivity": of(0, 1),
        "pulsation_augmentation": of(0.5, 10),
    }
    if often(0.2):
        main["skin_temperature_degC"] = of(-40, 1000)
    surroundings = {
        "air_temperature_degC": of(-40, 60),
        "radiant_temperature_degC": of(None, -40, 400),
        "pressure_kPa": of(50, 200),
        "air_speed_m_s": of(0, 60),
        "relative_humidity_percent": of(0, 100),
    }
    main_bore = main["outside_diameter_mm"] - 2 * main["wall_thickness_mm"]
    ratio = bore / main_bore if main_bore > 0 else 1.0
    loudest = min(20000.0, 0.25e3 * surroundings["pressure_kPa"] * ratio**2)
    return {
        "branch": branch,
        "main_pipe": main,
        "surroundings": surroundings,
        "closures": _closures(dice, loudest),
    }


def _closures(dice: _Dice, loudest: float) -> Json:
    """``loudest``: Pa; the tone surely moves the gas at the mouth no faster than sound."""
    of, often = dice.of, dice.often
    mixing: Json
    if often(0.15):
        mixing = {"model": "fixed", "diffusivity_m2_s": of(0, 1)}
    else:
        mixing = {
            "model": "stirred mouth",
            "stirring_coefficient": of(None, 0, 0.15, 5),
            "reach_bores": of(0.3, 200),
            "mouth_exchange_coefficient": of(None, 0.001, 1),
            "tone_exchange_coefficient": of(0, 3),
            "cap_pressure_Pa": of(None, 0, 20000),
            "pulsation_coefficient": of(None, 0, 0.1, 5),
            "incident_pressure_Pa": of(0, loudest),
            "buoyancy_factor": of(0, 1, 20),
        }
    inner = of(
        {"model": "fixed", "coefficient_W_m2K": of(0.1, 1000)},
        {
            "model": "linked to mixing",
            "stanton_number": of(0, 0.01, 1),
            "stirred_film_coefficient": of(0, 1, 20),
            "still_nusselt_number": of(1, 10),
        },
    )
    outer = of(
        {"model": "fixed", "coefficient_W_m2K": of(0.1, 1000)},
        {"model": "natural and forced", "factor": of(0.05, 1, 20)},
    )
    mouth = of(
        {"model": "fixed", "length_mm": of(0, 200)},
        {"model": of("side branch", "flanged", "unflanged"), "factor": of(0, 1, 3)},
    )
    return {
        "mixing": mixing,
        "inner_film": inner,
        "outer_film": outer,
        "mouth_correction": mouth,
        "wall_losses": of(True, True, False),
        "condensation": of(True, True, True, False),
    }


def cases(count: int, seed: int) -> Iterator[Json]:
    """So many draws."""
    dice = _Dice(seed)
    for _ in range(count):
        yield copy.deepcopy(one(dice))


def admitted(drawn: list[Json]) -> tuple[list[Json], physics.Case]:
    """Those that the service admits, and the batch that they make."""
    kept, read = [], []
    for case in drawn:
        try:
            read.append(Case.model_validate(case))
        except ValidationError:
            continue
        kept.append(case)
    batch = to_batch(read)
    fine = [i for i, entry in enumerate(refused_flows(read, batch)) if entry is None]
    return [kept[i] for i in fine], batch.take(np.array(fine))
