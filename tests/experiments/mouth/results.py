# ruff: noqa: E501 (tables and one-line records)
"""Write the fixture of all runs, and fit the closed forms to them.

python results.py write OUT.toml r1.jsonl r2.jsonl ...   (results of the program -> fixture)
python results.py fit FIXTURE.toml                        (fixture -> closed forms, and how they meet each run)
python results.py inside FIXTURE.toml                     (how each run lies in the suggested priors)
"""

import sys
import tomllib
from pathlib import Path

import numpy as np
from analyze import AT, load, mouth_flux, summary
from quick import pipe_check
from scipy.optimize import least_squares

BIRTH = "our own simulation, not a measurement"
# Twelve runs of an earlier program of ours (other scheme for the scalar): cells, Re, bore ratio, pulsation, its
# frequency, k_m, B, D at 2.1 bores times 1000.
EARLIER = [
    ("48, 10,000", 48, 1e4, 0.7, 0.0, 0.0, 0.010, 0.44, 13.0), ("48, 20,000", 48, 2e4, 0.7, 0.0, 0.0, 0.014, 0.61, 8.0),
    ("48, 40,000", 48, 4e4, 0.7, 0.0, 0.0, 0.016, 0.81, 9.2), ("64, 20,000", 64, 2e4, 0.7, 0.0, 0.0, 0.0175, 0.80, 9.8),
    ("64, 40,000", 64, 4e4, 0.7, 0.0, 0.0, 0.021, 0.93, 14.0), ("96, 20,000", 96, 2e4, 0.7, 0.0, 0.0, 0.020, 0.74, 19.0),
    ("0.9 d", 48, 2e4, 0.9, 0.0, 0.0, 0.019, 0.92, 11.0), ("pulsating 0.2", 48, 2e4, 0.7, 0.6, 0.2, 0.039, 0.93, 13.0),
    ("pulsating 0.08", 48, 2e4, 0.7, 0.6, 0.08, 0.020, 0.74, 9.1), ("no sponge", 48, 2e4, 0.7, 0.0, 0.0, 0.027, 0.72, 14.0),
    ("45 degrees", 48, 2e4, 0.7, 0.0, 0.0, 0.038, 0.86, 28.0), ("rounded", 48, 2e4, 0.7, 0.0, 0.0, 0.025, 0.91, 9.7)]  # fmt: skip
LEFT_OUT = ("no sponge", "45 degrees", "rounded")


def oscillation(run: dict) -> float:
    """Amplitude of the section-mean velocity at half a bore, root two times its rms, over U (all frequencies)."""
    b = (
        np.array(run["blocks"], dtype=float)
        .reshape(len(run["blocks"]), run["nbin"], run["nq"])
        .sum(axis=0)[5]
    )
    return float(np.sqrt(max(2.0 * (b[19] / b[0] - (b[2] / b[0]) ** 2), 0.0)) / run["U"])


def line(values: np.ndarray, digits: int = 4) -> str:
    return "[" + ", ".join(f"{v:.{digits}g}" for v in np.asarray(values)) + "]"


def write(out: str, paths: list[str], boots: int) -> None:
    text = ["[source]", 'title = "Lattice experiment on a closed branch of a turbulent pipe"', f'birth = "{BIRTH}"',
            'where = "tests/experiments/mouth; lengths in branch bores from the crown, speeds in the bulk speed U, temperatures as excess"',
            'read_by = "made by results.py from the program\'s output"',
            f"profile_x = {line(np.arange(0.05, 6.0, 0.3), 3)}", f"stirring_x = {line(AT, 3)}", ""]  # fmt: skip
    seen: set[str] = set()
    for path in paths:
        for run in load(path):
            case, name = run["case"], run["case"]["name"]
            if name.startswith("start") or not run["blocks"]:
                continue
            if float(case.get("pipe", 0)):
                check = pipe_check(run)
                keys = {
                    "f": "friction",
                    "Nu": "nusselt",
                    "still Nu": "still_nusselt",
                    "Re": "reynolds",
                }
                text += ["[[pipe]]", f'name = "{name}"', f"cells = {case['d']}"]
                text += [f"{new} = {check[old]:.5g}" for old, new in keys.items()] + [""]
                continue
            name = name if name not in seen else f"{name}, repeated"
            seen.add(name)
            a, b = summary(run, "A", boots), summary(run, "B")
            p, q = a["profile"], b["profile"]
            strouhal = run["db"] / run["period"] / run["U"]
            settings = {
                "cells": case["d"], "reynolds": f"{float(case['Re']):.0f}", "bore_ratio": case.get("rb", "0.7"),
                "length_bores": case.get("Lb", "10"), "sponge": str(float(case.get("sponge", float(case.get("eta", 0)) == 0)) > 0).lower(),
                "statistics_d_U": case["stat"], "tone_driven": str(float(case.get("eta", 0)) > 0).lower(),
                "tone_strouhal": f"{strouhal:.4g}", "mouth_velocity_driven": f"{run['w_amp'] / run['U']:.4g}",
                "mouth_velocity_all": f"{oscillation(run):.4g}", "cap_pressure": f"{run['p_cap'] / run['U'] ** 2:.4g}",
                "pulsation": case.get("pa", "0.0"), "pulsation_strouhal": case.get("pst", "0.0"),
                "gravity": f'"{case.get("grav", "none")}"', "richardson": case.get("Ri", "0.0")}  # fmt: skip
            fitted = {
                "k_m": a["fit"][0], "k_m_far": b["fit"][0], "C": a["fit"][1], "Lam": a["fit"][2], "B": a["fit"][3],
                "misfit_T": a["rms_T"], "flux_crown": mouth_flux(p), "flux_crown_far": mouth_flux(q)}  # fmt: skip
            text += ["[[run]]", f'name = "{name}"', "case = { " + ", ".join(f"{k} = {v}" for k, v in settings.items()) + " }",
                     "fit = { " + ", ".join(f"{k} = {v:.4g}" for k, v in fitted.items()) + f", log_error_k_C_Lam_B = {line(a['fit_sd'], 2)} }}",
                     f"stirring = {{ D1000 = {line(1000 * a['D'], 3)}, D1000_error = {line(1000 * a['D_sd'], 2)} }}",
                     f"profile = {{ T = {line(p.temperature[:60:3], 3)}, T_far = {line(q.temperature[:60:3], 3)}, "
                     f"flux = {line(p.flux[:60:3], 3)}, u_rms = {line(p.u_rms[:60:3], 3)} }}", ""]  # fmt: skip
            print(name, flush=True)
    for e in EARLIER:
        keys = (
            "cells",
            "reynolds",
            "bore_ratio",
            "pulsation",
            "pulsation_strouhal",
            "k_m",
            "B",
            "D1000_2_1",
        )
        text += ["[[earlier]]", f'name = "{e[0]}"', "case = { " + ", ".join(f"{k} = {v:g}" for k, v in zip(keys, e[1:], strict=True))
                 + f", in_fit = {str(e[0] not in LEFT_OUT).lower()} }}", ""]  # fmt: skip
    Path(out).write_text("\n".join(text))


def fit(path: str) -> None:
    data = tomllib.loads(Path(path).read_text())
    everything = [
        {"name": r["name"], **r["case"], **r["fit"], **r["stirring"]} for r in data["run"]
    ]
    runs = [
        r
        for r in everything
        if not (r["name"] in ("tone_0.6", "tone_0.4") or r["richardson"] > 0.02)
    ]
    old = [{"name": r["name"], **r["case"]} for r in data["earlier"] if r["case"]["in_fit"]]
    everyone = [(r, 0) for r in runs] + [(r, 1) for r in old]
    col = {
        k: np.array([float(r[k]) for r, _ in everyone])
        for k in ("cells", "reynolds", "bore_ratio", "pulsation", "pulsation_strouhal")
    }
    tone = np.array([r.get("mouth_velocity_all", 0.0) for r, _ in everyone])
    other = np.array([o for _, o in everyone], dtype=float)
    grid, re, bore = col["cells"] / 48.0, col["reynolds"] / 2e4, col["bore_ratio"] / 0.7
    beat = col["pulsation"] * col["pulsation_strouhal"]
    for key in ("k_m", "k_m_far"):
        y = np.log([r.get(key, r["k_m"]) for r, _ in everyone])

        def form(v: np.ndarray) -> np.ndarray:
            k = (
                np.exp(v[0])
                * grid ** v[1]
                * re ** v[2]
                * bore ** v[3]
                * (1.0 + v[4] * beat)
                * np.exp(v[6] * other)
            )
            return np.log(k + v[5] * tone)

        s = least_squares(
            lambda v, y=y: form(v) - y,
            [np.log(0.02), 0.4, 0.3, 1.0, 1.0, 0.37, -0.3],
            loss="soft_l1",
            f_scale=0.1,
        )
        sd = np.sqrt(np.diag(np.linalg.inv(s.jac.T @ s.jac))) * np.std(s.fun)
        names = (
            "ln k_s at 48, Re 20,000",
            "grid",
            "Re",
            "bore",
            "pulsation",
            "k_u",
            "earlier program, ln",
        )
        print(
            key,
            {n: (round(a, 3), round(b, 3)) for n, a, b in zip(names, s.x, sd, strict=True)},
            "k_s48",
            np.exp(s.x[0]).round(4),
        )
        print("  scatter (ln)", np.std(s.fun).round(3))
        for (r, o), d in zip(everyone, s.fun, strict=True):
            print(
                f"    {'earlier ' if o else ''}{r['name']:16s} run {r.get(key, r['k_m']):.4f} form/run {np.exp(d):.2f}"
            )
    calm = sorted(
        (r["cells"], r["k_m"], r["k_m_far"], r["B"]) for r in runs if r["name"].startswith("base")
    )
    c = np.array(calm)
    for j, label in ((1, "k_m"), (2, "k_m_far"), (3, "B")):
        b = np.polyfit(1.0 / c[:, 0], c[:, j], 1)[1]
        print(
            label,
            "by cells",
            c[:, 0],
            c[:, j],
            "linear in 1/cells to zero:",
            round(b, 4),
            "power",
            round(np.polyfit(np.log(c[:, 0]), np.log(c[:, j]), 1)[0], 3),
        )
    flat = [r for r, _ in everyone if r.get("gravity", "none") == "none"]
    u = np.array([r.get("mouth_velocity_all", 0.0) for r in flat])
    n48, rr = (
        np.array([r["cells"] / 48 for r in flat]),
        np.array([r["reynolds"] / 2e4 for r in flat]),
    )
    for label, y in (
        ("B", np.array([r["B"] for r in flat])),
        (
            "D 2.1",
            np.array([r["D1000"][2] if "D1000" in r else r["D1000_2_1"] for r in flat]) / 1000,
        ),
    ):
        s = least_squares(
            lambda v, y=y: (
                v[0]
                + v[1] * np.log(n48)
                + v[2] * np.log(rr)
                + np.log1p(v[3] * np.minimum(u, 0.5))
                - np.log(y)
            ),
            [np.log(y.mean()), 0.3, 0.3, 1.0],
        )
        print(
            label,
            "= a grid^p Re^q (1 + t u'):",
            np.exp(s.x[0]).round(4),
            s.x[1:].round(2),
            "scatter",
            np.std(s.fun).round(2),
            "range",
            y.min(),
            y.max(),
        )


PRIORS = {
    "k_s": (0.03, 0.013, 0.07),
    "k_u": (0.36, 0.2, 0.65),
    "D2": (0.02, 0.006, 0.065),
    "Lam": (0.75, 0.45, 2.0),
    "B_0": (1.0, 0.5, 2.0),
}


def spread(name: str) -> np.ndarray:
    """Draws of a prior: the lognormal with this median and this ratio of the bounds."""
    median, low, high = PRIORS[name]
    z = np.random.default_rng(len(name) + round(1000 * median)).standard_normal(20000)
    return median * np.exp(z * np.log(high / low) / 3.92)


def inside(path: str) -> None:
    """How each run lies in the priors, in standard deviations of the lognormal (95 % is +-1.96)."""
    data = tomllib.loads(Path(path).read_text())
    print(
        "| run | cells | u'/U | "
        + " | ".join(("k_m", "D2", "Lam", "B_0"))
        + " |\n| --- | ---: | ---: |"
        + " ---: |" * 4
    )
    for r in data["run"]:
        case, f = r["case"], r["fit"]
        tone = case["mouth_velocity_all"]
        grow = 1.0 + 1.8 * min(tone, 0.5)
        value = {
            "k_m": f["k_m_far"],
            "D2": f["C"] * np.exp(-2.0 / f["Lam"]),
            "Lam": f["Lam"],
            "B_0": f["B"] / grow,
        }
        drawn = spread("k_s") + spread("k_u") * tone
        cells = []
        for k, v in value.items():
            if k == "k_m":
                z = (np.log(v) - np.log(drawn).mean()) / np.log(drawn).std()
            else:
                median, low, high = PRIORS[k]
                z = (
                    1.96
                    * np.log(v / median)
                    / np.log(high / median if v > median else median / low)
                )
            cells.append(f"{z:+.1f}")
        print(f"| {r['name']} | {case['cells']} | {tone:.3f} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    if sys.argv[1] == "write":
        write(sys.argv[2], sys.argv[3:], boots=16)
    else:
        {"fit": fit, "inside": inside}[sys.argv[1]](sys.argv[2])
