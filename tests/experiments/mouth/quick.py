# ruff: noqa: E501 (tables and one-line records)
"""Print the plain-pipe checks of a results file: friction, Nusselt number, decay rate of a still-section scalar."""

import json
import sys
from pathlib import Path

import numpy as np


def pipe_check(run: dict) -> dict[str, float]:
    """Darcy f and Nu (source proportional to the axial velocity, wall at 0; unit Prandtl factors as in lattice.h)."""
    blocks = np.array(run["blocks"]).reshape(len(run["blocks"]), -1, run["nq"])
    total = blocks.sum(axis=0)[0]
    d, speed, nu = run["db"] / float(run["case"].get("rb", 0.7)), run["Umeas"], run["nu"]
    friction = 2.0 * run["g"] * d / speed**2
    alpha = nu / 0.7
    bulk = total[14] / total[13]
    area = total[0] / (run["bl"] / run["cs"] * len(blocks)) / round(float(run["case"]["Lx"]) * d)
    heat = run["U"] / d * (total[13] / total[0]) * area  # per length; the wall is pi d
    nusselt = heat / (np.pi * alpha * bulk)
    mean_b = blocks[:, 0, 4] / blocks[:, 0, 0]
    rate = -np.polyfit(np.arange(len(mean_b)) * run["bl"], np.log(np.abs(mean_b) + 1e-30), 1)[0]
    return {
        "f": friction,
        "Re": speed * d / nu,
        "f Re": friction * speed * d / nu,
        "Nu": nusselt,
        "still Nu": rate * d * d / (4 * alpha),
    }


if __name__ == "__main__":
    for line in Path(sys.argv[1]).read_text().splitlines():
        r = json.loads(line)
        if float(r["case"].get("pipe", 0)) and r["blocks"]:
            print(r["case"].get("name"), {k: round(v, 4) for k, v in pipe_check(r).items()})
