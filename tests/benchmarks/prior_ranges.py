"""How far each uncertain closure moves the quiet rpm of the branch of common practice.

Run ``python tests/benchmarks/prior_ranges.py``; prints a table in Markdown.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.prediction import expect
from warmbranch.case.case import Case
from warmbranch.case.closures import (
    BUOYANCY,
    CAP_PRESSURE,
    MOUTH_EXCHANGE,
    MOUTH_FACTOR,
    OUTER_FILM_FACTOR,
    PULSATION_AUGMENTATION,
    REACH,
    STIRRED_FILM,
    STIRRING,
    TONE,
    TONE_EXCHANGE,
    Closures,
    Prior,
    at_mouth,
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

DEGREES = (150, 275, 400)
"""Of the main gas, °C: the uncertainty grows with it."""

CLOSURES: dict[str, tuple[str, Prior, str]] = {
    "mouth_exchange": ("exchange at the mouth by the flow", MOUTH_EXCHANGE, ""),
    "cap_pressure": ("the tone at the cap", CAP_PRESSURE, " Pa"),
    "tone_exchange": ("exchange at the mouth by the tone", TONE_EXCHANGE, ""),
    "stirring": ("stirring two bores in", STIRRING, ""),
    "reach": ("reach of the stirring", REACH, " bores"),
    "stirred_film": ("inner film, by the stirring", STIRRED_FILM, ""),
    "buoyancy": ("buoyant counterflow, factor", BUOYANCY, ""),
    "outer_film_factor": ("outer film, factor", OUTER_FILM_FACTOR, ""),
    "mouth_factor": ("mouth correction, factor", MOUTH_FACTOR, ""),
    "tone": ("what else moves the tone, factor", TONE, ""),
    "film_augmentation": ("main pipe's inner film, factor", PULSATION_AUGMENTATION, ""),
}


def case(degrees: float) -> Case:
    """50.8 mm tube, 1.030 m, on a 57.2 mm pipe with 60 kg/h of gas; air at 25 °C."""
    air = 298.15
    return Case(
        Branch(0.0508, 0.0015, 0.0015, ((Piece(1.030),),), 0.0),
        metal("stainless 304"),
        Covering(EMISSIVITY, 0.0, 1.0),
        MainPipe(
            0.0572,
            0.0015,
            degrees + 273.15,
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


def moved(name: str, prior: Prior, degrees: float) -> np.ndarray:
    """Quiet rpm at the low end, the median and the high end of a 95 % range."""
    usual = case(degrees).repeat(3)
    values = np.array([prior.low, prior.median, prior.high])
    pipe, closures = usual.main_pipe, usual.closures
    if name in ("film_augmentation", "cap_pressure"):
        return quiet_rpm(solve(replace(usual, main_pipe=replace(pipe, **{name: values}))))
    changes = {name: values}
    if name == "stirring":
        changes = {"stirring": at_mouth(values, closures.reach)}
    if name == "reach":  # what is known two bores in stays
        changes["stirring"] = at_mouth(np.full(3, STIRRING.median), values)
    return quiet_rpm(solve(replace(usual, closures=replace(closures, **changes))))


def table() -> str:
    """One row a closure, then all together."""
    head = " | ".join(f"at {degrees} °C" for degrees in DEGREES)
    lines = [
        f"| closure | median | 95 % range | {head} |",
        "| --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    for name, (title, prior, unit) in CLOSURES.items():
        cells = []
        for degrees in DEGREES:
            low, median, high = moved(name, prior, degrees)
            cells.append(f"{100 * (low / median - 1):+.1f} to {100 * (high / median - 1):+.1f} %")
        span = f"{prior.low:g} to {prior.high:g}{unit}"
        lines.append(f"| {title} | {prior.median:g}{unit} | {span} | {' | '.join(cells)} |")
    rpm, interval, wrong = [], [], []
    for degrees in DEGREES:
        usual = case(degrees)
        answer = solve(usual)
        own = quiet_rpm(answer)[0]
        ends = 60 / ORDER * expect(usual, Calibration.prior(usual)).resonance[[0, -1]]
        rpm.append(f"{own:.0f}")
        interval.append(f"{100 * (ends[0] / own - 1):+.1f} to {100 * (ends[1] / own - 1):+.1f} %")
        wrong.append(f"{100 * (60 * answer.one_temperature[0] / ORDER / own - 1):+.0f} %")
    lines.append(f"| quiet rpm | | | {' | '.join(rpm)} |")
    lines.append(
        f"| all of it, 90 %, with gas and air as usually known | | | {' | '.join(interval)} |"
    )
    lines.append(f"| one gas temperature all along | | | {' | '.join(wrong)} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())
