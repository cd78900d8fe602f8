"""How far each uncertain closure moves the quiet rpm of the branch of common practice.

Run ``python tests/benchmarks/prior_ranges.py``; prints a table in Markdown.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from warmbranch.case.case import Case
from warmbranch.case.closures import (
    CAP_PRESSURE,
    MOUTH_FACTOR,
    OUTER_FILM_FACTOR,
    PULSATION,
    PULSATION_AUGMENTATION,
    REACH,
    STANTON,
    STIRRING,
    Closures,
    Prior,
)
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import metal
from warmbranch.case.surfaces import surface
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.combustion import burnt_gas
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve

ORDER = 3.0
"""Firings a revolution of six cylinders on the four-stroke cycle."""

EMISSIVITY = surface("weathered stainless").emissivity

TONE = 1000.0
"""Pa. Amplitude of the firing tone where mixing by pulsation is switched on, invented."""

CLOSURES: dict[str, tuple[str, Prior, str]] = {
    "stirring": ("stirring of the mouth", STIRRING, ""),
    "reach": ("reach of the stirring", REACH, " bores"),
    "stanton": ("inner film's Stanton number", STANTON, ""),
    "outer_film_factor": ("outer film, factor", OUTER_FILM_FACTOR, ""),
    "mouth_factor": ("mouth correction, factor", MOUTH_FACTOR, ""),
    "pulsation": (f"mixing by pulsation, at {TONE:.0f} Pa", PULSATION, ""),
    "film_augmentation": ("main pipe's inner film, factor", PULSATION_AUGMENTATION, ""),
}


def case() -> Case:
    """50.8 mm tube, 1.031 m, on a 57.2 mm pipe with 60 kg/h of gas at 150 °C; air at 25 °C."""
    air = 298.15
    return Case(
        Branch(0.0508, 0.0015, 0.0015, ((Piece(1.031),),), 0.0),
        metal("stainless 304"),
        Covering(EMISSIVITY, 0.0, 1.0),
        MainPipe(
            0.0572,
            0.0015,
            423.15,
            math.nan,
            60 / 3600,
            EMISSIVITY,
            PULSATION_AUGMENTATION.median,
            0.0,
            CAP_PRESSURE.median,
        ),
        burnt_gas("petrol", 1.0),
        Surroundings(air, air, 101325.0, 1.0),
        Closures.default(),
    )


def quiet_rpm(answer: Answer) -> np.ndarray:
    return 60 * answer.resonance[:, 0] / ORDER


def moved(name: str, prior: Prior) -> np.ndarray:
    """Quiet rpm at the low end, the median and the high end of a closure's 95 % range."""
    usual = case().repeat(3)
    values = np.array([prior.low, prior.median, prior.high])
    pipe = usual.main_pipe
    if name == "film_augmentation":
        return quiet_rpm(solve(replace(usual, main_pipe=replace(pipe, film_augmentation=values))))
    if name == "pulsation":
        loud = replace(pipe, incident_pressure=np.full(3, TONE))
        usual = replace(usual, main_pipe=loud)
    return quiet_rpm(solve(replace(usual, closures=replace(usual.closures, **{name: values}))))


def table() -> str:
    """One row a closure."""
    usual = solve(case())
    lines = [
        f"1.031 m branch: {quiet_rpm(usual)[0]:.0f} rpm with all closures at their medians; "
        f"{60 * usual.one_temperature[0] / ORDER:.0f} rpm by one temperature, "
        f"{60 * usual.transit_time[0] / ORDER:.0f} rpm by transit time.",
        "",
        "| closure | median | 95 % range | quiet rpm, low to high | moves by |",
        "| --- | ---: | ---: | ---: | ---: |",
    ]
    for name, (title, prior, unit) in CLOSURES.items():
        low, median, high = moved(name, prior)
        lines.append(
            f"| {title} | {prior.median:g}{unit} | {prior.low:g} to {prior.high:g}{unit} "
            f"| {low:.0f} to {high:.0f} "
            f"| {100 * (low / median - 1):+.1f} % to {100 * (high / median - 1):+.1f} % |"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())
