"""Whether what is kept of finished jobs is as far from their truths as it says, sharp or not.

``python tests/benchmarks/unit_error.py [N] [--seed S]... [--few]`` fits N invented jobs a seed,
whose truths are drawn from the priors, and compares each reading that is kept with its truth,
before ``FORM`` is kept back: root mean square, mean, and 1.48 times the median distance, which
outliers do not move, by how precise readings are over the prior; then the root mean square with
``FORM``. At the end the form error that makes all of them likeliest: readings of precision p are
off by √(1 + form² p). ``--few`` leaves two unknowns open, the stirring and the film outside, so
that likelihoods are sharp.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
from itertools import pairwise

import numpy as np
import synthetic

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.shop import USUAL
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch.learn import summary
from warmbranch.learn.summary import NAMES, MeasuredBranch, summary_of

FEW = Spreads(fixed=frozenset(UNKNOWNS) - {"stirring", "outer_film_factor"})

EDGES = np.array([0.0, 0.2, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, np.inf])
"""Of precisions, over the prior's."""

FORMS = np.linspace(0.0, 0.6, 61)


def a_job(rng: np.random.Generator, spreads: Spreads) -> synthetic.Experiment:
    """Truths are drawn for what is uncertain; all else is as its owner tells."""
    if not spreads.fixed:
        return synthetic.experiment(rng, int(rng.integers(4, 9)), listens=True)
    case = synthetic.a_case(rng)
    prior = Calibration.prior(case)
    told = dict(zip(prior.names, prior.mean.tolist(), strict=True))
    given = {name: value for name, value in told.items() if name in spreads.fixed}
    return synthetic.experiment(rng, 6, listens=True, case=case, given=given)


def misfits(rng: np.random.Generator, jobs: int, spreads: Spreads) -> tuple[np.ndarray, np.ndarray]:
    """Precision of each reading that is kept of so many jobs, and how far off it is: (readings,)"""
    precision, off = [np.empty(0)], [np.empty(0)]
    for _ in range(jobs):
        made = a_job(rng, spreads)
        read = synthetic.with_known_surfaces(made.readings) if spreads.fixed else made.readings
        job = MeasuredBranch("one", made.case, read, made.heard, spreads, warm=True)
        kept, prior = summary_of(job), Calibration.prior(made.case)
        truth = dict(zip(prior.names, made.coordinates, strict=True))
        z = [(truth.get(name, at) - at) / spread for name, (at, spread) in USUAL.items()]
        own = kept.of * np.nan_to_num(kept.spread / [USUAL[name].spread for name in NAMES])[:, None]
        precision.append(np.sum(own**2, axis=0))
        off.append(kept.shown - kept.of.T @ z)
    return np.concatenate(precision), np.concatenate(off)


def likeliest_form(precision: np.ndarray, off: np.ndarray) -> tuple[float, float, float]:
    """It, and between what it lies within one standard deviation."""
    variance = 1 + FORMS[:, None] ** 2 * precision
    log_chance = -np.sum(np.log(variance) + off**2 / variance, axis=1) / 2
    near = FORMS[log_chance > log_chance.max() - 0.5]
    return float(FORMS[np.argmax(log_chance)]), float(near[0]), float(near[-1])


def table(precision: np.ndarray, off: np.ndarray, form: float) -> list[str]:
    """Lines by how precise."""
    lines = [
        "| precision | readings | rms | mean | 1.48 x median | rms with FORM |",
        "| --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    told = off / np.sqrt(1 + form**2 * precision)
    for low, high in pairwise(EDGES):
        here = (precision > low) & (precision <= high)
        own = off[here]
        if len(own):
            rms, middle = np.sqrt(np.mean(own**2)), 1.4826 * np.median(np.abs(own))
            cells = [f"{low:g} to {high:g}", f"{len(own)}"]
            cells += [f"{rms:.2f} ± {rms / np.sqrt(2 * len(own)):.2f}"]
            cells += [f"{np.mean(own):+.2f}", f"{middle:.2f}"]
            cells.append(f"{np.sqrt(np.mean(told[here] ** 2)):.2f}")
            lines.append(f"| {' | '.join(cells)} |")
    return lines


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=480)
    parser.add_argument("--seed", type=int, action="append", help="1 unless given")
    parser.add_argument("--few", action="store_true", help="two unknowns are open")
    given = parser.parse_args()
    form, summary.FORM = summary.FORM, 0.0
    spreads = FEW if given.few else Spreads()
    parts = [
        misfits(np.random.default_rng(seed), given.count, spreads) for seed in given.seed or [1]
    ]
    precision, off = (np.concatenate(part) for part in zip(*parts, strict=True))
    print("\n".join(table(precision, off, form)))
    best, low, high = likeliest_form(precision, off)
    print(f"likeliest form error {best:.2f}, {low:.2f} to {high:.2f} of a prior's spread")
