"""What unequal temperatures do at the mouth: runs with one density beside runs whose gas is denser
where it is colder.

Strouhal numbers f d_b/U of the tone for the case file, then, from results, the four numbers of
`analyze.py` by the heat that the wall takes: there the mean flow is nil in mass and not in volume.

    python ratio.py tone 2.0
    python ratio.py sound r8.jsonl r9.jsonl
    python ratio.py write ../../../fixtures/simulated/MouthRatio.toml r8.jsonl r9.jsonl
"""

import json
import sys
from pathlib import Path

import numpy as np
from analyze import load, model, profile
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, least_squares

FAR = np.array([0.40, 0.38, 0.33, 0.25, 0.16, 0.08, 0.04, 0.01, 0.0])
"""Excess of the gas that comes back, of base48 in MouthExchange.toml, each half bore."""


def strouhal(ratio: float, length: float = 10.0, period: float = 6.0, bore: float = 0.7) -> float:
    """f d_b/U of branch and main pipe together at Mach number 0.08 sqrt(3).

    Of a branch whose gas has FAR's temperatures: d/dx(c² dp/dx) + ω² p = 0 with p and the volume
    flow continuous at the mouth.
    """
    cold = 1 / ratio
    x = np.arange(len(FAR)) * 0.5

    def light(at: float) -> float:
        return cold + (1 - cold) * float(np.interp(at, x, FAR))

    def off(wave: float) -> float:
        # From the cap, in bores: pressure, and lightness times its slope. `wave` is ω d_b/c.
        def rates(at: float, y: np.ndarray) -> list[float]:
            return [-y[1] / light(length - at), wave**2 * y[0]]

        pressure, flow = solve_ivp(rates, (0, length), [1.0, 0.0], rtol=1e-8).y[:, -1]
        main = 2 / bore**2 * np.tan(wave * period / bore / 2) * wave
        return flow * 1.0 + main * pressure

    waves = np.linspace(0.3, 1.0, 400) * np.pi / length
    values = [off(wave) for wave in waves]
    for low, high, a, b in zip(waves, waves[1:], values, values[1:], strict=False):
        if a * b < 0 and abs(a - b) < 1:
            wave = brentq(off, low, high)
            return float(wave / (2 * np.pi) / (0.08 * np.sqrt(3)))
    raise ValueError("no tone")


def by_wall(p) -> np.ndarray:
    """Heat that the wall takes beyond each place, over A U."""
    return np.cumsum(p.wall[::-1])[::-1] * 0.1 - p.wall * 0.05


def fit(run, pick=None):
    """(k, C, Lam, B), D at 2 bores and T there, of the scalar that may come back."""
    ratio, p = float(run["case"].get("ratio", 1)), profile(run, pick, "B")
    flux, use = by_wall(p), (p.x > 0.5) & (p.x < 4.6)
    start = np.log([0.016, 0.3, 0.6, 0.7])

    def miss(par):
        t, f = model(par, p, 8.0, ratio)
        first = 2.0 * (f[0] - flux[0]) / flux[0]
        own = 0.5 * ((f - flux) / flux[0])[use]
        return np.concatenate([(t - p.temperature)[use], own, [first], 0.005 * (par - start)[1:]])

    found = least_squares(miss, start, x_scale=0.3)
    k, c, lam, b = np.exp(found.x)
    inside = float(np.mean(p.temperature[(p.x > 0.3) & (p.x < 1.0)]))
    at_two = float(np.interp(2.0, p.x, p.temperature))
    return np.array([k, c, lam, b, c * np.exp(-2 / lam), inside, at_two, flux[0]]), p


def standing(run) -> tuple[float, float]:
    """Pressure at the cap over velocity 0.15 bores inside, ρ_main U: as found, and without losses.

    By the linear equations of a tube whose gas has the run's own temperatures, driven by the run's
    force along the branch, which meets half a period of the main pipe on either side.
    """
    ratio, p, bore = float(run["case"].get("ratio", 1)), profile(run, None, "B"), run["db"]
    omega, square, length = 2 * np.pi / run["period"], 1 / 3, 10 * run["db"]

    def along(cap: float, force: float):
        def rates(at, y):
            light = p.lightness((length - at) / bore, ratio)
            return [-(force - 1j * omega * y[1] / light) / square, 1j * omega * y[0]]

        return solve_ivp(rates, (0, length), [cap + 0j, 0j], rtol=1e-9, dense_output=True).sol

    def amiss(sol) -> complex:
        """Of the pressure at the mouth, by what the main pipe makes of the flow."""
        pressure, velocity = sol(length)
        beside = -velocity * 0.7**2 / 2
        half = omega / np.sqrt(square) * 3 * bore / 0.7
        return pressure + 1j * beside / np.sqrt(square) / np.tan(half)

    cap = -amiss(along(0, run["A"])) / (amiss(along(1, 0)))
    velocity = along(cap, run["A"])(length - 0.15 * bore)[1]
    return run["p_cap"] / run["w_amp"] / run["U"], float(abs(cap / velocity)) * square / run["U"]


def balances(run) -> tuple[float, float]:
    """Half a bore inside: mass over the volume that passes, and heat carried over heat lost."""
    blocks = np.array(run["blocks"], dtype=float).reshape(
        len(run["blocks"]), run["nbin"], run["nq"]
    )
    total, ratio = blocks.sum(axis=0), float(run["case"].get("ratio", 1))
    p, near = profile(run, None, "B"), slice(4, 8)
    n = total[near, 0]
    volume, mass = total[near, 2] / n / run["U"], total[near, 22] / n / run["U"]
    conducted = total[near, 10] / n / run["U"]
    carried = volume / (1 - 1 / ratio) + conducted if ratio > 1 else p.flux[near]
    return float(mass.mean() / volume.mean()), float(carried.mean() / by_wall(p)[near].mean())


HEAD = """[source]
title = "Lattice experiment on a closed branch: gas that is denser where it is colder"
birth = "our own simulation, not a measurement"
where = "tests/experiments/mouth; lengths in branch bores, speeds in U, temperatures as excess"
read_by = "made by ratio.py from the program's output"
"""


def record(run, draws: int = 30) -> dict[str, object]:
    """One run as the fixture has it."""
    found, _ = fit(run)
    g, n = np.random.default_rng(1), len(run["blocks"])
    again = [np.log(fit(run, g.integers(0, n, n))[0][:5]) for _ in range(draws)]
    mass, heat = balances(run)
    names = ("k_m_far", "C", "Lam", "B", "D_2", "T_inside", "T_2", "flux")
    told = {name: float(f"{v:.4g}") for name, v in zip(names, found, strict=True)}
    case = run["case"]
    return {
        "name": case["name"],
        "cells": int(case["d"]),
        "temperature_ratio": float(case.get("ratio", 1)),
        "pulsation": float(case.get("pa", 0)),
        "mouth_velocity_driven": float(f"{run['w_amp'] / run['U']:.4g}"),
        "ended_early": bool(run["bad"]),
        **told,
        "log_error_k_C_Lam_B_D_2": [float(f"{v:.2g}") for v in np.std(again, axis=0)],
        "mass_over_volume": round(mass, 2),
        "heat_carried_over_lost": round(heat, 2),
    }


def main() -> None:
    if sys.argv[1] == "tone":
        print(*(f"{ratio}: {strouhal(float(ratio)):.4f}" for ratio in sys.argv[2:]))
        return
    if sys.argv[1] == "sound":
        for run in (run for path in sys.argv[2:] for run in load(path)):
            if run["w_amp"] > 0 and len(run["blocks"]) >= 4:
                print(run["case"]["name"], "{:.3f} {:.3f}".format(*standing(run)))
        return
    with Path(sys.argv[2]).open("w") as out:
        out.write(HEAD)
        for run in (run for path in sys.argv[3:] for run in load(path)):
            if len(run["blocks"]) < 4:
                continue
            out.write("\n[[run]]\n")
            for name, value in record(run).items():
                out.write(f"{name} = {json.dumps(value)}\n")


if __name__ == "__main__":
    main()
