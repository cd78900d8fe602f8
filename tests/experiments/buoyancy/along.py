"""Which factor on the model's counterflow gives a run's heat, or its temperature.

Both from half a bore beyond the reservoir on.

    python along.py ../../../fixtures/simulated/BuoyantTube.toml [β]

Along the tube d/dx[(1 + c D/α) dT/dx] = 4 U T, lengths in bores, Nu = 5.783 + β √(c E/ν) with what
scrapes the wall, β the model's unless given; U is Nu and a sheet's film outside in series. As
nothing depends on x but through T, the flux is a function of T alone: dq/dT = 4 U T / T'(q).
"""

from __future__ import annotations

import sys
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from warmbranch.base.constants import GRAVITY
from warmbranch.heat.counterflow import SCRAPING, counterflow

STILL = 5.783


def closed_form(rayleigh, prandtl: float, rise: float):
    """The model's counterflow at gradients ``rayleigh``, over the gas's diffusivity: what it
    carries along and what scrapes the wall. The gas's own scales cancel."""
    rayleigh = np.atleast_2d(rayleigh)
    bore, viscosity, temperature = 0.005, 3e-5, 450.0  # gradients far above the model's foot
    diffusivity = viscosity / prandtl
    gradient = rayleigh * viscosity * diffusivity * temperature / (GRAVITY * (bore / 2) ** 4)
    one = np.ones_like(rayleigh)
    found = counterflow(
        temperature * one, -gradient, viscosity * one, diffusivity * one,
        -5 / temperature * one, bore * one, rise * np.ones((1, 1)),
    )  # fmt: skip
    return tuple(part.value[0] / diffusivity for part in found)


def along(factor, start, rayleigh, prandtl, rise, outer, scraping):
    """Flux at the start and the integral of temperature beyond."""
    falls = np.geomspace(1e-9, 1e3, 20000)
    mixed, scrapes = (factor * part for part in closed_form(falls * rayleigh / 16, prandtl, rise))
    fluxes = (1 + mixed) * falls
    films = 1 / (1 / (STILL + scraping * np.sqrt(scrapes / prandtl)) + 1 / outer)
    levels = np.geomspace(1e-4 * start, start, 1500)
    flux, beyond = np.sqrt(4 * films[0]) * levels[0], 0.0

    def slope(at, warmth):
        fall = np.interp(at, fluxes, falls)
        return 4 * np.interp(at, fluxes, films) * warmth / fall, fall

    for low, high in pairwise(levels):
        half = flux + slope(flux, low)[0] * (high - low) / 2
        rate, fall = slope(half, (low + high) / 2)
        flux += rate * (high - low)
        beyond += (low + high) / 2 / fall * (high - low)
    return flux, beyond


def wanted(run: dict, scraping: float) -> list[float]:
    """Factors on the counterflow that a run's heat and its temperatures want; NaN for none."""
    case = run["case"]
    outer = case["outer"] if case["wall"] == "sheet" else np.inf
    fall = run["rayleigh_gradient"][0] * 16 / case["rayleigh"]
    targets = (1 + run["diffusivity"][0]) * fall, run["temperature_beyond"][0]
    rise, found = np.radians(case["rise_deg"]), []
    for which, target in enumerate(targets):

        def amiss(log_factor, which=which, target=target):
            got = along(np.exp(log_factor), run["T"][0], case["rayleigh"], case["prandtl"],
                        rise, outer, scraping)  # fmt: skip
            return np.log(got[which] / target)

        ends = np.log([1e-3, 1e3])
        within = amiss(ends[0]) * amiss(ends[1]) < 0
        found.append(np.exp(brentq(amiss, *ends, xtol=0.01)) if within else np.nan)
    return found


def main(source: str, scraping: float) -> None:
    for run in tomllib.loads(Path(source).read_text())["run"]:
        case = run["case"]
        if case["wall"] in ("linear", "adiabatic") or not case["reservoir_bores"]:
            continue
        heat, temperature = wanted(run, scraping)
        print(f"{run['name']:20s} heat {heat:7.2f}  temperature {temperature:6.2f}")


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]) if len(sys.argv) > 2 else SCRAPING)
