"""Which factor on the closed form (without layering) gives a run's heat, or its temperature.

Both from half a bore beyond the reservoir on.

    python along.py ../../../fixtures/simulated/BuoyantTube.toml [B]

Along the tube d/dx[(1 + c D/α) dT/dx] = 4 Nu T, lengths in bores, Nu = 5.783 + B √(c D/ν); B is 0
unless given (a sheet's film outside stands in series, for B = 0 only). As nothing depends on x but
through T, the flux is a function of T alone: dq/dT = 4 Nu T / T'(q).
"""

from __future__ import annotations

import sys
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
from results import landed
from scipy.optimize import brentq

STILL = 5.783


def along(factor, start, rayleigh, prandtl, rise, still, film):
    """Flux at the start and the integral of temperature beyond."""
    falls = np.geomspace(1e-9, 1e3, 20000)
    mixed = factor * np.array([landed(g * rayleigh / 16, prandtl, rise) for g in falls])
    fluxes = (1 + mixed) * falls
    levels = np.geomspace(1e-4 * start, start, 1500)
    flux, beyond = np.sqrt(4 * still) * levels[0], 0.0

    def slope(at, warmth):
        nusselt = still + film * np.sqrt(np.interp(at, fluxes, mixed) / prandtl)
        fall = np.interp(at, fluxes, falls)
        return 4 * nusselt * warmth / fall, fall

    for low, high in pairwise(levels):
        half = flux + slope(flux, low)[0] * (high - low) / 2
        rate, fall = slope(half, (low + high) / 2)
        flux += rate * (high - low)
        beyond += (low + high) / 2 / fall * (high - low)
    return flux, beyond


def main(source: str, film: float) -> None:
    for run in tomllib.loads(Path(source).read_text())["run"]:
        case = run["case"]
        if case["wall"] in ("linear", "adiabatic") or not case["reservoir_bores"]:
            continue
        still = 1 / (1 / STILL + 1 / case["outer"]) if case["wall"] == "sheet" else STILL
        fall = run["rayleigh_gradient"][0] * 16 / case["rayleigh"]
        targets = (1 + run["diffusivity"][0]) * fall, run["temperature_beyond"][0]
        found = []
        for which, target in enumerate(targets):

            def amiss(log_factor, which=which, target=target, run=run, still=still):
                case = run["case"]
                rise = np.radians(case["rise_deg"])
                got = along(np.exp(log_factor), run["T"][0], case["rayleigh"], case["prandtl"],
                            rise, still, film)  # fmt: skip
                return np.log(got[which] / target)

            ends = np.log([1e-3, 1e3])
            within = amiss(ends[0]) * amiss(ends[1]) < 0
            found.append(np.exp(brentq(amiss, *ends, xtol=0.01)) if within else np.nan)
        print(f"{run['name']:20s} heat {found[0]:7.2f}  temperature {found[1]:6.2f}")


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]) if len(sys.argv) > 2 else 0.0)
