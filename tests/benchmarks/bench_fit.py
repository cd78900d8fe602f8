"""How long a fit takes, beside a steady answer: ``python tests/benchmarks/bench_fit.py [repeats]``.

Eight readings and one quiet rpm heard, five unknowns, with the ensemble; in one process and one
thread. The promise: at most 60 ms, and at most what 40 steady answers cost.
"""

from __future__ import annotations

import importlib.util
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
if __name__ == "__main__":
    for name in THREADS:
        os.environ.setdefault(name, "1")

import numpy as np

from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.fit.solve import fit
from warmbranch.steady.solve import solve

FIVE = frozenset({"stirring", "reach", "stanton", "outer_film_factor", "mouth_factor"})
MOST_MS, MOST_STEADY = 60.0, 40.0


def _synthetic():
    path = Path(__file__).with_name("synthetic.py")
    spec = importlib.util.spec_from_file_location("synthetic", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def best_ms(work: Callable[[], object], repeats: int) -> float:
    """Shortest of many: what the work costs when nobody else is at the machine."""
    work()
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times) * 1e3


def measure(repeats: int = 30) -> dict[str, float]:
    """Milliseconds: a steady answer, fits of five and of all unknowns, medians over branches."""
    synthetic = _synthetic()
    rng = np.random.default_rng(3)
    five = Spreads(fixed=frozenset(UNKNOWNS) - FIVE)
    steady, fits, whole, rounds = [], [], [], []
    for _ in range(5):
        drawn = synthetic.experiment(rng, 8, listens=True)
        # Patches of known emissivity, so that five unknowns are five.
        readings = synthetic.with_known_surfaces(drawn.readings)
        given = (drawn.case, readings, drawn.heard)
        steady.append(best_ms(lambda case=drawn.case: solve(case), repeats))
        fits.append(best_ms(lambda given=given: fit(*given, spreads=five), repeats))
        whole.append(best_ms(lambda given=given: fit(*given), repeats))
        rounds.append(fit(*given, spreads=five).ensemble.draws)
    return {
        "steady": float(np.median(steady)),
        "five": float(np.median(fits)),
        "all": float(np.median(whole)),
        "draws": float(np.median(rounds)),
    }


def report(found: dict[str, float]) -> str:
    share = found["five"] / found["steady"]
    return "\n".join(
        [
            f"a steady answer                 {found['steady']:8.2f} ms",
            f"fit, 8 readings, 1 heard        {found['five']:8.1f} ms   five unknowns, "
            f"{found['draws']:.0f} draws  (promised: {MOST_MS:g})",
            f"                                {share:8.1f} steady answers  "
            f"(promised: {MOST_STEADY:g})",
            f"the same, all unknowns          {found['all']:8.1f} ms",
        ]
    )


if __name__ == "__main__":
    print(report(measure(int(sys.argv[1]) if len(sys.argv) > 1 else 30)))
