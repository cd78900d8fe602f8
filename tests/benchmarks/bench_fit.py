"""How long a fit takes, beside a steady answer: ``python tests/benchmarks/bench_fit.py [repeats]``.

Eight readings and one quiet rpm heard, with the ensemble; in one process and one thread, CPU time,
so that others at the machine count less. Five unknowns, the others as they truly are, and all of
them, as a user's fit has it. Where a fit is strained, slips are weighed too, which costs a search
each; where the case tells of wind and nobody says that it was read there, standing still is fitted
as well; where readings were taken in a cold start, each draw is a warm-up to be solved: told apart.
The promise: at most 150 ms with all unknowns.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from functools import partial

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
if __name__ == "__main__":
    for name in THREADS:
        os.environ.setdefault(name, "1")

import numpy as np
import synthetic

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS, with_unknowns
from warmbranch.case.case import Case
from warmbranch.fit.ensemble import PriorDraws
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.rivals import STRAINED
from warmbranch.fit.solve import fit
from warmbranch.fit.standing import calm
from warmbranch.steady.solve import solve

FIVE = frozenset({"stirring", "reach", "stanton", "outer_film_factor", "mouth_factor"})
MOST_MS = 150.0
BRANCHES = 16


def best_ms(work: Callable[[], object], repeats: int) -> float:
    """Shortest of many: what the work costs when nobody else is at the machine."""
    work()
    times = []
    for _ in range(repeats):
        begun = time.process_time()
        work()
        times.append(time.process_time() - begun)
    return min(times) * 1e3


def with_the_others_as_they_are(drawn) -> Case:
    """The case with the true values of all unknowns but five."""
    prior = Calibration.prior(drawn.case)
    others = [i for i, name in enumerate(prior.names) if name not in FIVE]
    names = [prior.names[i] for i in others]
    return with_unknowns(drawn.case, names, drawn.coordinates[None, others])


def measure(repeats: int = 30) -> dict[str, float]:
    """Milliseconds, medians over branches: a steady answer and fits; and how many were strained."""
    rng = np.random.default_rng(3)
    five = Spreads(fixed=frozenset(UNKNOWNS) - FIVE)
    kinds = ("steady", "five", "all", "windy", "strained", "in time")
    found: dict[str, list[float]] = {kind: [] for kind in kinds}
    draws = []
    for _ in range(BRANCHES):
        drawn = synthetic.experiment(rng, 8, listens=True)
        # Patches of known emissivity, so that five unknowns are five.
        readings = synthetic.with_known_surfaces(drawn.readings)
        known = (with_the_others_as_they_are(drawn), readings, drawn.heard)
        given = (drawn.case, drawn.readings, drawn.heard)
        found["steady"].append(best_ms(lambda case=drawn.case: solve(case), repeats))
        found["five"].append(best_ms(lambda given=known: fit(*given, spreads=five), repeats))
        prior = Calibration.prior(drawn.case)
        problem = InverseProblem(*given, prior)
        strained = problem.strain(problem.mode(PriorDraws(problem).starts(problem))) >= STRAINED
        kind = "strained" if strained else "all" if calm(drawn.case) is None else "windy"
        found[kind].append(best_ms(lambda given=given: fit(*given), repeats))
        draws.append(fit(*given).ensemble.draws)
    for _ in range(BRANCHES // 3):
        drawn = synthetic.experiment_in_time(rng)
        given = (drawn.case, drawn.readings, drawn.heard)
        work = partial(fit, *given, warming=synthetic.WARMING)
        found["in time"].append(best_ms(work, max(1, repeats // 10)))
    told = {name: float(np.median(values)) if values else np.nan for name, values in found.items()}
    return {**told, "draws": float(np.median(draws)), "share": len(found["strained"]) / BRANCHES}


def report(found: dict[str, float]) -> str:
    rows = {
        "a steady answer": ("steady", ""),
        "fit, 8 readings, 1 heard, five unknowns": ("five", ""),
        "all unknowns": ("all", f"{found['draws']:.0f} draws (promised: {MOST_MS:g} ms)"),
        "all unknowns, in wind; perhaps read standing": ("windy", ""),
        "all unknowns, strained": ("strained", f"{100 * found['share']:.0f} % of these branches"),
        "all unknowns, three readings in a cold start": ("in time", ""),
    }
    return "\n".join(
        f"{name:<48}{found[key]:8.1f} ms {found[key] / found['steady']:8.0f} steady answers  {note}"
        for name, (key, note) in rows.items()
    )


if __name__ == "__main__":
    print(report(measure(int(sys.argv[1]) if len(sys.argv) > 1 else 30)))
