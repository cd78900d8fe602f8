"""Mass and resistance of the mouth from the driven tone's first harmonic in branch and main pipe.

    python mass.py show r5.jsonl r6.jsonl r7.jsonl
    python mass.py write ../../../fixtures/simulated/MouthMass.toml r5.jsonl r6.jsonl r7.jsonl

Everything is referred to the crown plane. In the branch ``i w m W = A - p'/rho`` and
``i w p = -rho c^2 W'``: A is the driving force, and m, complex and found by the fit, the wall's
share (the layer at the wall is thinner than a cell, so that the lattice holds back the gas next to
it). In the main pipe, up and down stream of the mouth by themselves, there are plane waves with
``k/(1 +- M)``. Both are fitted where no near field is left and the gas is calm, and carried to the
crown plane and to the branch's axis; between them stands

    p_main - p_branch = rho (i w delta + r) W,   p_main the mean of both sides.

delta comes out in branch bore radii, as mouth corrections are told, r over c.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

SOUND_SPEED = 1 / np.sqrt(3.0)  # of the lattice
NEAR_BRANCH = 2.5  # bores of the branch that are left out; with 1, slow tones come out 0.3 lower
NEAR_MAIN = 0.75  # bores of the main pipe that are left out beyond the mouth's edge


@dataclass
class Mouth:
    """What stands between branch and main pipe; complex amplitudes as exp(i w t)."""

    correction: float  # over the bore's radius
    resistance: float  # over rho c
    velocity: float  # amplitude at the crown plane, lattice units
    jump: complex  # p downstream less upstream, over rho c W
    share: complex  # m of the branch's wall
    misfit: float  # of the branch's waves, relative


def complex_pairs(
    block: np.ndarray, count: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Pressure and velocity of branch and main pipe; sums with cos and sin are Re and -Im."""
    pairs = block.reshape(-1, 4)
    p = pairs[:, 0] - 1j * pairs[:, 1]
    w = pairs[:, 2] - 1j * pairs[:, 3]
    return p[:count], w[:count], p[count:], w[count:]


def branch_at_crown(
    z: np.ndarray, p: np.ndarray, w: np.ndarray, omega: float, force: float, bore: float
) -> tuple[complex, complex, complex, float]:
    """Pressure and velocity carried to the crown plane, the wall's share m, and the misfit."""
    c = SOUND_SPEED
    use = (z > NEAR_BRANCH * bore) & (z < z[-1] - 4.0)
    zz = z[use]

    def waves(share: complex) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        k, heavy = omega / c * np.sqrt(share), np.sqrt(share)
        rows = np.concatenate(
            [
                np.stack([np.cos(k * zz), np.sin(k * zz)], axis=1),
                np.stack([-1j * heavy * np.sin(k * zz), 1j * heavy * np.cos(k * zz)], axis=1),
            ]
        )
        want = np.concatenate([w[use] - force / (1j * omega * share), p[use] / c])
        got, *_ = np.linalg.lstsq(rows, want, rcond=None)
        return got, rows @ got - want, want

    def miss(parts: np.ndarray) -> np.ndarray:
        _, left, want = waves(complex(parts[0], parts[1]))
        return np.concatenate([left.real, left.imag]) / np.linalg.norm(want)

    found = least_squares(miss, [1.05, -0.01])
    share = complex(*found.x)
    got, _, _ = waves(share)
    return (
        complex(1j * c * np.sqrt(share) * got[1]),
        complex(got[0] + force / (1j * omega * share)),
        share,
        float(np.linalg.norm(found.fun)),
    )


def main_at_axis(
    x: np.ndarray, p: np.ndarray, u: np.ndarray, omega: float, mach: float, near: float
) -> tuple[complex, complex]:
    """Pressure carried to the branch's axis from upstream and from downstream."""
    c = SOUND_SPEED
    out = []
    for use in (x < -near, x > near):
        down = np.exp(-1j * omega / (c * (1 + mach)) * x[use])
        up = np.exp(1j * omega / (c * (1 - mach)) * x[use])
        rows = np.concatenate([np.stack([down, up], 1), np.stack([down, -up], 1)])
        want = np.concatenate([p[use], c * u[use]])
        got, *_ = np.linalg.lstsq(rows, want, rcond=None)
        out.append(complex(got.sum()))
    return out[0], out[1]


def mouth(run: dict, block: np.ndarray) -> Mouth:
    waves = run["waves"]
    z, x = np.array(waves["z"]), np.array(waves["x"])
    omega, bore = 2 * np.pi / run["period"], run["db"]
    pb, wb, pm, um = complex_pairs(block, z.size)
    p0, w0, share, miss = branch_at_crown(z, pb, wb, omega, waves["force"], bore)
    mach = run["Umeas"] / SOUND_SPEED
    near = bore / 2 + NEAR_MAIN * float(run["case"]["d"])
    before, after = main_at_axis(x, pm, um, omega, mach, near)
    between = ((before + after) / 2 - p0) / w0
    return Mouth(
        between.imag / omega / (bore / 2),
        between.real / SOUND_SPEED,
        abs(w0),
        (after - before) / (SOUND_SPEED * w0),
        share,
        miss,
    )


def measured(run: dict) -> tuple[Mouth, Mouth]:
    """Mean over the blocks, and its standard error."""
    blocks = np.array(run["waves"]["blocks"])
    each = [mouth(run, b) for b in blocks]
    whole = mouth(run, blocks.mean(axis=0))
    n = np.sqrt(max(len(each) - 1, 1) * 1.0)
    return whole, Mouth(
        float(np.std([m.correction for m in each]) / n),
        float(np.std([m.resistance for m in each]) / n),
        float(np.std([m.velocity for m in each]) / n),
        complex(np.std([m.jump for m in each]) / n),
        0j,
        0.0,
    )


def runs(paths: list[str]) -> Iterator[dict]:
    for path in paths:
        for line in Path(path).read_text().splitlines():
            run = json.loads(line)
            if run.get("waves", {}).get("blocks"):
                yield run


def record(run: dict) -> dict[str, object]:
    """One run as the fixture tells it."""
    found, error = measured(run)
    case, speed = run["case"], run["U"]
    flows = float(case.get("still", 0)) == 0
    return {
        "name": case["name"],
        "cells": int(case["d"]),
        "reynolds": int(case["Re"]),
        "mach": round(speed / SOUND_SPEED if flows else 0.0, 4),
        "bore_ratio": float(case.get("rb", 0.7)),
        "flows": flows,
        "strouhal": round(run["db"] / run["period"] / speed, 4),
        "velocity": round(found.velocity / speed, 4),
        "correction": round(found.correction, 4),
        "correction_error": round(error.correction, 4),
        "resistance": round(found.resistance, 5),
        "resistance_error": round(error.resistance, 5),
        "jump": [round(found.jump.real, 4), round(found.jump.imag, 4)],
        "blocks": len(run["waves"]["blocks"]),
    }


HEAD = """[source]
title = "Mass and resistance of the mouth of a closed branch, with and without flow past it"
birth = "our own simulation, not a measurement"
where = "tests/experiments/mouth, cases5 to 7; mass.md says what follows"
read_by = "made by mass.py from the program's output"
units = "strouhal f d_b/U; velocity u'/U (of a still main pipe, U is a unit only); correction over \
the bore's radius; resistance over rho c; jump of pressure, downstream less upstream, over rho c u'"
"""


def toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return json.dumps(value)


def main(what: str, *paths: str) -> None:
    if what == "show":
        for run in runs(list(paths)):
            print(record(run))
        return
    out, *results = paths
    text = [HEAD]
    for run in runs(results):
        text += ["[[run]]", *(f"{key} = {toml(value)}" for key, value in record(run).items()), ""]
    Path(out).write_text("\n".join(text))


if __name__ == "__main__":
    main(*sys.argv[1:])
