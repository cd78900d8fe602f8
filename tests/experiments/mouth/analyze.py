# ruff: noqa: E501 (tables and one-line records)
"""Turn results of the lattice program into profiles, stirring, and the four fitted numbers with bootstrap errors.

Lengths in bores of the branch from the crown plane, speeds in the main pipe's bulk speed U, temperatures as the excess
over the branch wall divided by the main gas's. Flux F is that of excess heat through a section, over A U.
"""

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.linalg import solveh_banded
from scipy.optimize import least_squares

PRANDTL = 0.7
STILL = 5.783  # first zero of J0, squared: film of a still column on the area mean
AT = np.array([1.4, 1.6, 2.1, 2.6, 3.1, 3.6, 4.1])


@dataclass
class Profile:
    """Profiles over the branch, all arrays of one length."""

    x: np.ndarray
    temperature: np.ndarray
    flux: np.ndarray
    u_rms: np.ndarray
    cross_rms: np.ndarray
    wall: np.ndarray  # heat to the wall a bore, over A U
    sloshing: np.ndarray  # part of the flux carried by the section-mean oscillation
    reynolds: float  # branch Reynolds number U d_b / nu

    def lightness(self, at: np.ndarray, ratio: float) -> np.ndarray:
        """Main gas's density over that at some places; ratio 1: one density."""
        return 1 / ratio + (1 - 1 / ratio) * np.interp(at, self.x, self.temperature)


def load(path: str) -> list[dict]:
    return [json.loads(line) for line in Path(path).read_text().splitlines() if '"blocks"' in line]


def profile(run: dict, pick: np.ndarray | None = None, scalar: str = "A") -> Profile:
    """Average the picked blocks (all by default); scalar A is held at 1 in the whole main pipe, B away from the mouth."""
    blocks = np.array(run["blocks"], dtype=float).reshape(
        len(run["blocks"]), run["nbin"], run["nq"]
    )
    total = (blocks if pick is None else blocks[pick]).sum(axis=0)
    speed, bore = run["U"], run["db"]
    n = np.maximum(total[:, 0], 1.0)
    i = 0 if scalar == "A" else 1
    temperature = total[:, 3 + i] / n
    momentum = total[:, 2] / n
    flux = (total[:, 5 + i] / n - momentum * temperature + total[:, 9 + i] / n) / speed
    ww = (total[:, 7] - total[:, 19]) / n
    crossed = total[:, 8] / n
    wall = total[:, 11 + i] / n * bore / speed
    slosh = (total[:, 20 + i] / n - momentum * temperature) / speed
    x = (np.arange(run["nbin"]) + 0.5) / 10.0
    return Profile(
        x,
        temperature,
        flux,
        np.sqrt(np.maximum(ww + crossed, 0.0) / 3.0) / speed,
        np.sqrt(crossed / 2.0) / speed,
        wall,
        slosh,
        speed * bore / run["nu"],
    )


def stirring(p: Profile, at: np.ndarray = AT, half: float = 0.25) -> np.ndarray:
    """D/(U d_b) = flux over the slope of T, both over a window of +-half bores, less the molecular value."""
    out = []
    for a in at:
        w = np.abs(p.x - a) <= half + 0.06
        slope = np.polyfit(p.x[w], p.temperature[w], 1)[0]
        out.append(p.flux[w].mean() / max(-slope, 1e-9) - 1.0 / (PRANDTL * p.reynolds))
    return np.array(out)


def model(
    par: np.ndarray, p: Profile, end: float, ratio: float = 1.0
) -> tuple[np.ndarray, np.ndarray]:
    """T and F of mouth film k, D = C exp(-x/Lam), Nu = 5.783 + B sqrt(D/nu); cap insulated at `end`.

    Density goes with 1/T from the main gas's to `ratio` times it at the wall's temperature;
    conductivity and viscosity are the lattice's, even.
    """
    k, c, lam, b = np.exp(par)
    mol = 1.0 / (PRANDTL * p.reynolds)
    x = np.linspace(0.0, end, 400)
    h = x[1] - x[0]
    mid = 0.5 * (x[1:] + x[:-1])
    d_mid = mol + c * np.exp(-mid / lam) / p.lightness(mid, ratio)
    nus = STILL + b * np.sqrt(c * np.exp(-x / lam) * p.reynolds)
    sink = 4.0 * nus * mol * h
    sink[[0, -1]] *= 0.5
    main = sink.copy()
    main[:-1] += d_mid / h
    main[1:] += d_mid / h
    main[0] += k

    upper = np.zeros((2, x.size))
    upper[0, 1:] = -d_mid / h
    upper[1] = main
    rhs = np.zeros(x.size)
    rhs[0] = k
    t = solveh_banded(upper, rhs)
    flux_mid = -d_mid * np.diff(t) / h
    flux = np.interp(
        p.x, np.concatenate([[0.0], mid]), np.concatenate([[k * (1 - t[0])], flux_mid])
    )
    return np.interp(p.x, x, t), flux


def mouth_flux(p: Profile) -> float:
    """Flux through the crown plane: straight line through the first half bore."""
    near = p.x < 0.5
    return float(np.polyval(np.polyfit(p.x[near], p.flux[near], 1), 0.0))


def fit(
    p: Profile, upto: float = 4.6, start: tuple[float, ...] = (0.02, 0.6, 0.55, 0.8)
) -> tuple[np.ndarray, float, float]:
    """(k_m, C, Lam, B), rms misfit of T and of F/F(0); T and scaled F count alike beyond 0.5 bores (mouth bins left out)."""
    use = (p.x > 0.5) & (p.x < upto)
    f0m = mouth_flux(p)

    def miss(par: np.ndarray) -> np.ndarray:
        t, f = model(par, p, 8.0)
        prior = (par[1:] - np.log(start[1:])) * np.array([0.005, 0.005, 0.005])
        return np.concatenate(
            [
                (t - p.temperature)[use],
                0.5 * ((f - p.flux) / f0m)[use],
                [2.0 * (f[0] - f0m) / f0m],
                prior,
            ]
        )

    s = least_squares(miss, np.log(start), x_scale=0.3)
    t, f = model(s.x, p, 8.0)
    return (
        np.exp(s.x),
        float(np.sqrt(np.mean((t - p.temperature)[use] ** 2))),
        float(np.sqrt(np.mean(((f - p.flux) / f0m)[use] ** 2))),
    )


def summary(run: dict, scalar: str = "A", boots: int = 0, seed: int = 1) -> dict:
    p = profile(run, scalar=scalar)
    par, miss_t, miss_f = fit(p)
    out = {
        "fit": par,
        "rms_T": miss_t,
        "rms_F": miss_f,
        "D": stirring(p),
        "profile": p,
        "flux0": mouth_flux(p),
    }
    if boots:
        g = np.random.default_rng(seed)
        n = len(run["blocks"])
        sets, ds = [], []
        for _ in range(boots):
            q = profile(run, g.integers(0, n, n), scalar)
            sets.append(np.log(fit(q, start=tuple(par))[0]))
            ds.append(stirring(q))
        out["fit_sd"] = np.std(sets, axis=0)
        out["D_sd"] = np.std(ds, axis=0)
    return out


if __name__ == "__main__":
    np.set_printoptions(precision=4, suppress=True, linewidth=180)
    for path in sys.argv[1:]:
        for run in load(path):
            if float(run["case"].get("pipe", 0)) or not run["blocks"]:
                continue
            for scalar in "AB":
                s = summary(run, scalar)
                p = s["profile"]
                at = [
                    np.interp(v, p.x, p.temperature)
                    for v in (0.15, 0.6, 1.1, 1.6, 2.1, 2.6, 3.1, 4.1, 5.1)
                ]
                print(
                    f"{run['case']['name']:16s}{scalar} k {s['fit'][0]:.4f} C {s['fit'][1]:.3f} Lam {s['fit'][2]:.3f} B {s['fit'][3]:.3f} rms {s['rms_T']:.3f} {s['rms_F']:.3f} F0 {s['flux0']:.5f} D",
                    (1000 * s["D"]).round(1),
                    "T",
                    np.round(at, 4),
                )
