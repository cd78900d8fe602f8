"""How often the fit's intervals hold the truth: ``python tests/benchmarks/coverage_fit.py [N]``.

Each experiment draws a branch, a truth from the prior, 3 to 8 readings of a cheap instrument,
and, in half of them, a quiet rpm heard; with ``--in-time``, three readings 2, 5 and 9 minutes
after a cold start, whose time constants are uncertain too. An honest 90 % interval holds the truth
in nine of ten.
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

from warmbranch.fit.solve import Fitted, fit

LEVELS = {"50 %": (1, 3), "90 %": (0, 4)}


def _synthetic():
    spec = importlib.util.spec_from_file_location(
        "synthetic", Path(__file__).with_name("synthetic.py")
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


synthetic = _synthetic()


def run(count: int, seed: int) -> list[tuple[bool, int, float, Fitted]]:
    """For each experiment: heard or not, readings, true resonance, what the fit found."""
    rng = np.random.default_rng(seed)
    done = []
    for i in range(count):
        listens = bool(i % 2)
        readings = int(rng.integers(3, 9))
        drawn = synthetic.experiment(rng, readings, listens=listens)
        found = fit(drawn.case, drawn.readings, drawn.heard)
        done.append((listens, readings, float(drawn.truth.resonance[0, 0]), found))
    return done


def run_in_time(count: int, seed: int) -> list[tuple[bool, int, float, Fitted]]:
    """The same with three readings 2, 5 and 9 minutes after a cold start."""
    rng = np.random.default_rng(seed)
    done = []
    for _ in range(count):
        drawn = synthetic.experiment_in_time(rng)
        found = fit(drawn.case, drawn.readings, drawn.heard, warming=synthetic.WARMING)
        done.append((False, len(drawn.readings), float(drawn.truth.resonance[0, 0]), found))
    return done


def inside(done: list[tuple[bool, int, float, Fitted]], level: str) -> float:
    """Share of the experiments whose interval holds the truth."""
    low, high = LEVELS[level]
    return float(np.mean([fd.after[low] <= true <= fd.after[high] for _, _, true, fd in done]))


def report(done: list[tuple[bool, int, float, Fitted]]) -> str:
    lines = []
    groups = {
        "all": done,
        "nothing heard": [d for d in done if not d[0]],
        "a rpm heard": [d for d in done if d[0]],
        "3 to 5 readings": [d for d in done if d[1] <= 5],
        "6 to 8 readings": [d for d in done if d[1] > 5],
    }
    lines.append(f"{'':<18}{'experiments':>12}{'in 50 %':>10}{'in 90 %':>10}{'learned':>10}")
    for name, group in groups.items():
        if not group:
            continue
        learned = np.mean([fd.learned_share for *_, fd in group])
        lines.append(
            f"{name:<18}{len(group):>12}{inside(group, '50 %'):>10.3f}"
            f"{inside(group, '90 %'):>10.3f}{learned:>10.2f}"
        )
    outcomes = Counter(str(fd.outcome) for *_, fd in done)
    lines.append(f"outcomes: {dict(outcomes)}")
    shares = [fd.ensemble.laplace_share for *_, fd in done]
    effective = [fd.ensemble.effective for *_, fd in done]
    lines.append(
        f"effective draws: median {np.median(effective):.0f}, least {np.min(effective):.0f}; "
        f"Laplace's share: median {np.median(shares):.2f}; "
        f"widened: {sum(fd.ensemble.widened for *_, fd in done)}; "
        f"steps: median {np.median([fd.mode.summit.steps for *_, fd in done]):.0f}, "
        f"most {max(fd.mode.summit.steps for *_, fd in done)}"
    )
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=400)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--in-time", action="store_true", help="readings during a cold start")
    given = parser.parse_args()
    begun = time.perf_counter()
    results = (run_in_time if given.in_time else run)(given.count, given.seed)
    print(report(results))
    print(f"{(time.perf_counter() - begun) / given.count * 1e3:.0f} ms an experiment")
