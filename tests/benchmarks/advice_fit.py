"""Whether the fit's advice is worth following: ``python tests/benchmarks/advice_fit.py [N]``.

Truths from the fit's own priors, N of each. Prints

- how often a clean experiment is told that something is wrong: a slip, a suspect reading or tone
  (promised: each in at most 2 % of them);
- what the advised place for the next reading leaves of the spread of the resonance, beside a random
  place and the other advice, listening;
- how far the millimetres to cut now move when the draws are others.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter

import numpy as np
import synthetic

from warmbranch.belief.calibration import Calibration
from warmbranch.fit import ensemble
from warmbranch.fit.next_reading import CANDIDATES
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.solve import Fitted, fit

SEEDS = range(20, 25)


def false_alarms(count: int, seed: int) -> Counter[str]:
    """How many of so many clean experiments were told what."""
    rng = np.random.default_rng([seed, 1])
    told: Counter[str] = Counter()
    for i in range(count):
        drawn = synthetic.experiment(rng, int(rng.integers(4, 9)), listens=bool(i % 2))
        found = fit(drawn.case, drawn.readings, drawn.heard, warm=True)
        told["a slip"] += bool(found.rivals)
        codes = {one.code for own in found.suspicions for one in own}
        told["a reading that does not fit"] += "does_not_fit" in codes
        told["readings that contradict"] += "contradicts" in codes
        told["a tone that cannot be"] += any(found.heard_suspicions)
        told[f"outcome: {found.outcome}"] += 1
    return told


def spread(found: Fitted) -> float:
    """Standard deviation of ln(resonance)."""
    tone, weights = np.log(found.ensemble.frequency), found.ensemble.weights
    return float(np.sqrt(weights @ (tone - weights @ tone) ** 2))


def next_readings(count: int, seed: int) -> dict[str, np.ndarray]:
    """What one more reading leaves of the spread: at the best place, at a random one, by ear."""
    rng = np.random.default_rng([seed, 2])
    left: dict[str, list[float]] = {"the best place": [], "a random place": [], "listening": []}
    for _ in range(count):
        drawn = synthetic.experiment(rng, 3, listens=False)
        now = fit(drawn.case, drawn.readings, Heard.none(), warm=True)
        own = synthetic.shift_of_own(Calibration.prior(drawn.case), drawn.coordinates)
        places = {"the best place": now.advice.best, "a random place": rng.integers(CANDIDATES)}
        for name, place in places.items():
            there = now.advice.position[[place]]
            empty = synthetic.to_be_read(drawn.case, there, ("contact",))
            added = synthetic.read(empty, drawn.truth, own, drawn.patch, rng)
            both = Readings.concatenate([drawn.readings, added])
            after = fit(drawn.case, both, Heard.none(), warm=True)
            left[name].append(spread(after) / spread(now))
        tone = synthetic.hear(drawn.truth, rng)
        after = fit(drawn.case, drawn.readings, tone, warm=True)
        left["listening"].append(spread(after) / spread(now))
    return {name: np.array(values) for name, values in left.items()}


def cuts_by_seed(count: int, seed: int) -> np.ndarray:
    """What to cut now, mm, (experiments, seeds)."""
    rng = np.random.default_rng([seed, 3])
    cuts = []
    for i in range(count):
        drawn = synthetic.experiment(rng, int(rng.integers(4, 9)), listens=bool(i % 2))
        target = float(drawn.truth.resonance[0, 0]) * 1.10
        row = []
        for own in SEEDS:
            ensemble.SEED = own
            found = fit(drawn.case, drawn.readings, drawn.heard, warm=True, target=target)
            row.append(1e3 * found.trim.cut_now if found.trim else np.nan)
        cuts.append(row)
    ensemble.SEED = SEEDS[0]
    return np.array(cuts)


def report(count: int, seed: int) -> str:
    lines = [f"of {count} clean experiments were told of"]
    for name, number in false_alarms(count, seed).items():
        lines.append(f"  {name:<46}{number:>4}  {100 * number / count:.1f} %")
    few = max(count // 5, 1)
    lines.append(f"one more reading leaves of the spread (geometric mean of {few}):")
    for name, values in next_readings(few, seed).items():
        error = np.std(np.log(values)) / np.sqrt(few)
        lines.append(f"  {name:<46}{np.exp(np.mean(np.log(values))):.3f} ± {error:.3f}")
    cuts = cuts_by_seed(few, seed)
    off = np.abs(cuts - np.median(cuts, axis=1, keepdims=True))
    lines.append(
        f"what to cut now by {len(SEEDS)} sets of draws, from their median: within 1 mm "
        f"{100 * np.mean(off <= 1.0):.0f} %, within 2 mm {100 * np.mean(off <= 2.0):.0f} %, "
        f"worst {np.max(off):.0f} mm"
    )
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=200)
    parser.add_argument("--seed", type=int, default=2026)
    given = parser.parse_args()
    begun = time.perf_counter()
    print(report(given.count, given.seed))
    print(f"{time.perf_counter() - begun:.0f} s")
