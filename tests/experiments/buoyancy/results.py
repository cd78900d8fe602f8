"""Profiles of the tube runs as a fixture, and what the model's closure would need, as a table.

    python results.py write ../../../fixtures/simulated/BuoyantTube.toml r1.jsonl r2.jsonl r3.jsonl
    python results.py table ../../../fixtures/simulated/BuoyantTube.toml

Later files win where a run was repeated; runs that broke down are left out.
"""

from __future__ import annotations

import json
import sys
import tomllib
from pathlib import Path

import numpy as np
from along import closed_form

from warmbranch.heat.counterflow import SCRAPING

AT = [0.5, 1, 1.5, 2, 3, 4, 5, 6]
"""Bores beyond the hot reservoir."""


def numbers(values) -> str:
    return "[" + ", ".join(f"{v:.4g}" for v in values) + "]"


def profile(run: dict, at) -> dict:
    """Of one run at places ``at``: lengths in bores, diffusivities over the gas's own."""
    rows = np.array(run["rows"])
    x, warmth, convected = rows[:, 0] - run["zr"] / run["d"], rows[:, 1], rows[:, 2]
    width = max(1, run["d"] // 4)
    smooth = np.convolve(warmth, np.ones(width) / width, "same")
    fall = -np.gradient(smooth, x)
    excess = warmth - rows[:, 5]
    places = [int(np.argmin(abs(x - a))) for a in at]
    places = [i for i in places if x[i] < x[-1] - 1 and warmth[i] > 3e-3 and fall[i] > 0]
    i = np.array(places, dtype=int)
    return {
        "x": x[i],
        "T": warmth[i],
        "excess": excess[i],
        "rayleigh_gradient": fall[i] * run["Ra"] / 16,
        "diffusivity": convected[i] / fall[i],
        "nusselt": np.divide(rows[i, 4], 4 * excess[i], out=np.full(len(i), -1.0),
                             where=abs(excess[i]) > 3e-3),
        "temperature_beyond": np.array([np.trapezoid(warmth[k:], x[k:]) for k in i]),
    }  # fmt: skip


def write(target: str, sources: list[str]) -> None:
    runs = {}
    for source in sources:
        for line in Path(source).read_text().splitlines():
            run = json.loads(line)
            if not run["bad"]:
                runs[run["case"]["name"]] = run
    out = [
        "[source]",
        'title = "Buoyant counterflow in a closed tube, laminar, Boussinesq"',
        'birth = "our own simulation, not a measurement"',
        'where = "tests/experiments/buoyancy; lengths in bores from the end of the hot reservoir, '
        "temperatures over the hot end's excess, diffusivities over the gas's own\"",
        'read_by = "made by results.py from the program\'s output"',
    ]
    for name, run in runs.items():
        case = run["case"]
        middle = len(run["rows"]) // 2
        out += ["", "[[run]]", f'name = "{name}"']
        out += [
            f"case = {{ cells = {run['d']}, rayleigh = {run['Ra']:g}, prandtl = {run['Pr']:g}, "
            f"rise_deg = {run['rise'] * 180 / np.pi:.3g}, length_bores = {case.get('L', '12')}, "
            f'wall = "{case.get("wall", "cold")}", outer = {case.get("outer", "0")}, '
            f"sheet = {case.get('sheet', '0')}, reservoir_bores = {case.get('reservoir', '1.5')}, "
            f"time = {run['time']:.4g} }}",
            f"balance = {run['balance'][-2]:.3g}",
            f"drift = {run['balance'][-1]:.3g}",
        ]
        if case.get("box"):
            row = run["rows"][middle]
            out.append(f"nusselt_end = {row[2] + row[3]:.4g}")
            continue
        bores = run["d"] and len(run["rows"]) / run["d"]
        fully = case.get("wall") in ("linear", "adiabatic")
        at = [(bores - run["zr"] / run["d"]) / 2] if fully else AT
        out += [f"{key} = {numbers(v)}" for key, v in profile(run, at).items()]
    Path(target).write_text("\n".join(out) + "\n")


def table(source: str) -> None:
    print("| run | x, bores | excess | Ra_g | D/α | D over the form | Nu | Nu over the form |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for run in tomllib.loads(Path(source).read_text())["run"]:
        if "diffusivity" not in run or run["case"]["wall"] in ("linear", "adiabatic"):
            continue
        d, pr = np.array(run["diffusivity"]), run["case"]["prandtl"]
        rise = np.radians(run["case"]["rise_deg"])
        along, at_wall = closed_form(run["rayleigh_gradient"], pr, rise)
        nusselt = np.array(run["nusselt"])
        film = 5.783 + SCRAPING * np.sqrt(at_wall / pr)
        shown = [k for k, x in enumerate(run["x"]) if round(2 * x) in (2, 4, 8)]
        cells = [
            " ".join(f"{v[k]:.{n}f}" for k in shown)
            for v, n in ((run["x"], 1), (run["excess"], 3), (run["rayleigh_gradient"], 0),
                         (d, 1), (d / along, 2), (nusselt, 1), (nusselt / film, 2))
        ]  # fmt: skip
        print(f"| {run['name']} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    if sys.argv[1] == "write":
        write(sys.argv[2], sys.argv[3:])
    else:
        table(sys.argv[2])
