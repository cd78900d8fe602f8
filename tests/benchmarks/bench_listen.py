"""Listening tried on invented recordings: how far off, how sure, how long.

    python tests/benchmarks/bench_listen.py [FIRST [COUNT]]

Seeds from 1000 on were never looked at while the estimator was made. Prints one line a drive and a
table; nothing is asserted. Times are processor seconds.
"""

from __future__ import annotations

import os
import sys
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, os.path.join(os.path.dirname(__file__), ".."))

import numpy as np

from shared.recordings import Recording, pair, record, some_drive
from warmbranch.case.engine import Cycle
from warmbranch.listen.layout import Layout, engine_layout
from warmbranch.listen.solve import Heard, hear, notch_of


def layout_of(recording: Recording) -> Layout:
    return engine_layout(recording.drive.cylinders, Cycle.FOUR_STROKE)


def heard_of(recording: Recording) -> Heard:
    drive = recording.drive
    low, high = 0.85 * drive.slowest_rpm / 60, 1.15 * drive.fastest_rpm / 60
    return hear(recording.samples, recording.rate_Hz, layout_of(recording), low, high)


def speeds(seeds: range) -> None:
    """Errors of the engine speed over drives of every kind, by signal to noise."""
    rows: dict[float, list[tuple[float, float, float]]] = {}
    for seed in seeds:
        recording = record(some_drive(seed))
        heard = heard_of(recording)
        truth = np.interp(heard.track.time, recording.time_s, recording.rpm)
        driven = np.interp(heard.track.time, recording.time_s, recording.audible * 1.0) > 0.99
        error = np.abs(np.exp(heard.track.log_speed) * 60 / truth - 1)
        held = heard.held & driven
        wrong = float(np.mean(held & (error > 0.03)))
        middle = float(np.median(error[held])) if held.any() else float("nan")
        rows.setdefault(recording.drive.signal_to_noise_dB, []).append(
            (middle, float(held.mean()), wrong)
        )
    print("signal to noise  drives  median error  held  held but wrong")
    for level, found in sorted(rows.items()):
        middle, held, wrong = np.array(found).T
        print(
            f"{level:>12.0f} dB{len(found):>8}{100 * np.nanmedian(middle):>12.3f} %"
            f"{held.mean():>6.2f}{100 * wrong.mean():>12.2f} %"
        )


def notches(seeds: range, *, moved: bool, notch: bool) -> None:
    """Errors of the resonance over pairs at 12 dB without a case, or how often none is invented."""
    errors, inside, said, wide = [], [], [], []
    for seed in seeds:
        before, after = pair(seed, moved=moved, notch=notch, signal_to_noise_dB=12.0, clipped=False)
        found = notch_of(
            [heard_of(before)], [heard_of(after)], layout_of(after), same_place=not moved
        )
        said.append(found is not None and found.heard)
        truth = after.drive.notch_Hz
        if truth is None or found is None or not found.heard:
            continue
        errors.append(abs(found.quantile(0.5) / truth - 1))
        inside.append(found.quantile(0.05) < truth < found.quantile(0.95))
        wide.append(found.quantile(0.95) / found.quantile(0.05) - 1)
    name = f"{'moved' if moved else 'fixed'}, {'a notch' if notch else 'no notch'}"
    line = f"{name:<18}{len(said):>4} pairs, heard in {np.mean(said):.2f}"
    if errors:
        line += (
            f", median error {100 * np.median(errors):.2f} %, 90 % interval holds it in "
            f"{np.mean(inside):.2f} and is {100 * np.median(wide):.1f} % wide"
        )
    print(line)


def cost() -> None:
    """A minute of recording against twice as long: linear or not."""
    spent = []
    for seconds in (60.0, 120.0):
        recording = record(some_drive(3, seconds=seconds, manner="up"))
        clock = time.process_time()
        heard_of(recording)
        spent.append(time.process_time() - clock)
    print(f"one minute {spent[0]:.2f} s of processor, two {spent[1]:.2f} s")


if __name__ == "__main__":
    first = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    cost()
    speeds(range(first, first + count))
    for moved in (False, True):
        notches(range(first, first + count // 2), moved=moved, notch=True)
        notches(range(first, first + count // 4), moved=moved, notch=False)
