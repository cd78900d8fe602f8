"""How often the fit's intervals hold the truth, in one world after another.

``python tests/benchmarks/coverage_fit.py [N] [--world NAME] [--staged]`` prints, for each world of
``worlds.py`` and ``more_worlds.py``, N experiments of 4 to 8 readings each, half of them with a
tone heard: the share of truths inside the 90 % interval, also of those without and with a tone; how
often the first cut that is advised takes too much; half of the interval's width; and with
``--staged`` how often the whole job ends too short: cut, listen, fit, and cut again until the
advice is to stop. An honest 90 % interval holds the truth in nine of ten.

The promise of a job that ends too short in one of twenty at most is by ear: that whoever cuts would
find the branch quietest above the tone that he wants. His ear and his engine speed are what the
target was read by, and nothing else at the car can tell. By truth is told beside it: where an ear
hears every tone 2 % low, who stops where it sounds right has cut 2 % too much, and no reading says
so; to rule that out would leave 2 % of the length over in every job.

``--into FILE`` keeps every experiment as a line of JSON and runs only those that are not there yet;
``--seconds`` stops after so many. ``--bare`` is for a fit that holds nothing uncertain but the
model's coefficients, as the first one did: the ratio of the widths is the price of the rest.
``--pattern`` puts another scale in the place of what the fit holds likely of the skin's smooth
departure from the model.
In no world does anybody say how long the engine had run. With ``--told`` all of them do.

``--ranks`` draws everything that the fit holds uncertain from the fit's own priors instead, and
prints where the truth ranks among the draws of the fit: evenly, where the sampling is right.
``--in-time`` is for readings 2, 5 and 9 minutes after a cold start.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import zlib
from collections import Counter
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import more_worlds  # noqa: F401 - enters its worlds
import numpy as np
import synthetic
import worlds
from scipy.stats import kstest
from world import SETTLED, World

from warmbranch.belief.unknown import Spreads
from warmbranch.fit import shared
from warmbranch.fit.clock import WARMTH
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.shared import NAMES as SHARED
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.solve import Fitted, fit
from warmbranch.warming.drive import Drive

LEVELS = {"50 %": (1, 3), "90 %": (0, 4)}

LEAST_CUT = 0.001
"""m. Advice below which the saw stays where it is."""

MOST_CUTS = 8

BARE = {
    "spreads": Spreads(
        least_gas_temperature=0.0,
        composition=0.0,
        fixed=frozenset({*SHARED, WARMTH, "sharpness", "tone"}),
    ),
    "warm": True,
}
"""What a fit is told that takes readings, ears and the model's own form as they are."""

LEVEL = 0.01
"""Chance at which even ranks would be called uneven."""


@dataclass(frozen=True)
class Job:
    """One experiment in a world, and how its cuts went; lengths in m."""

    listens: bool
    inside: bool
    half_width: float
    first_cut: float
    rank: float
    too_much: bool
    outcome: str
    rivals: tuple[str, ...]
    too_short: bool | None = None
    as_heard: bool = False
    cuts: int = 0
    left_over: float = 0.0


def told_when(own: World, readings: Readings, heard: Heard) -> tuple[Readings, Heard, dict]:
    """The same with the time since the start, as an owner tells it who knows it."""
    if np.isinf(own.minutes):
        return readings, heard, {"warm": True}
    seconds = 60 * own.minutes
    read = replace(readings, time=np.full(len(readings), seconds))
    tones = replace(heard, time=np.full(len(heard), seconds))
    return read, tones, {"warming": Warming(Drive.cold_start(SETTLED))}


def job(
    name: str,
    rng: np.random.Generator,
    *,
    listens: bool,
    staged: bool,
    bare: bool = False,
    told: bool = False,
) -> Job:
    """Draw a branch in a world, read it, fit it and take the first cut, or all of them.

    The wanted tone lies 3 to 15 % above the true one. A cut is too much where the true tone is
    then above the wanted one. A job ends too short where that is so by truth; ``as_heard`` tells
    the same by the ear of the listener, whose bias stays.
    """
    own = worlds.drawn(name, rng)
    how = BARE if bare else {"spreads": own.spreads}
    readings = own.read(int(rng.integers(4, 9)))
    heard = own.hear() if listens else Heard.none()
    target = own.tone() * rng.uniform(1.03, 1.15)
    if told:
        readings, heard, when = told_when(own, readings, heard)
        how = {**how, **when}
    if own.as_read is not None and own.says_how_read:
        how = {**how, "as_read": own.as_read(own.told)}
    found = fit(own.told, readings, heard, target=target, **how)
    low, high = found.after[[0, -1]]
    cut = 0.0 if found.trim is None else cut_of(found)
    tone = own.tone(own.length - cut) if cut > 0 else own.tone()
    first = {
        "listens": listens,
        "inside": bool(low <= own.tone() <= high),
        "half_width": float((high - low) / 2 / own.tone()),
        "first_cut": cut,
        "rank": float(found.ensemble.weights @ (found.ensemble.frequency < own.tone())),
        "too_much": bool(cut > 0 and tone > target),
        "outcome": str(found.outcome),
        "rivals": tuple(rival.name for rival in found.rivals),
    }
    if not staged:
        return Job(**first)
    cuts, done, length = 0, 0.0, own.length
    while cut - done >= LEAST_CUT and cuts < MOST_CUTS:
        cuts, done = cuts + 1, cut
        length = own.length - done
        heard = Heard.concatenate([heard, own.hear(length)])
        found = fit(own.told, readings, heard, target=target, **how)
        cut = 0.0 if found.trim is None else cut_of(found)
    by_ear = own.length_for(target / own.heard_over_true)
    return Job(
        **first,
        too_short=bool(own.tone(length) > target),
        as_heard=bool(length < by_ear - 1e-5),
        cuts=cuts,
        left_over=float(length - by_ear),
    )


def cut_of(found: Fitted) -> float:
    """What the advice takes off the branch as it was read, in all, m."""
    return found.trim.cut_now


@dataclass
class Kept:
    """Experiments by world and number, in a file where one is named.

    Each draws from a seed of its own, so that what is run later, or elsewhere, adds to what is
    there, and another world changes none.
    """

    path: Path | None
    seed: int
    bare: bool
    told: bool

    def __post_init__(self) -> None:
        self.done: dict[tuple[str, int], Job] = {}
        if self.path is not None and self.path.exists():
            for line in self.path.read_text().splitlines():
                told = json.loads(line)
                if told.pop("seed") == self.seed:
                    key = told.pop("world"), told.pop("number")
                    self.done[key] = Job(**{**told, "rivals": tuple(told["rivals"])})

    def run(self, name: str, number: int, *, staged: bool) -> Job:
        """One experiment, or what it gave before."""
        found = self.done.get((name, number))
        if found is None or (staged and found.too_short is None):
            rng = np.random.default_rng([self.seed, zlib.crc32(name.encode()), number])
            how = {"bare": self.bare, "told": self.told, "staged": staged}
            found = job(name, rng, listens=bool(number % 2), **how)
            self.done[name, number] = found
            if self.path is not None:
                line = {"world": name, "number": number, "seed": self.seed, **asdict(found)}
                with self.path.open("a") as file:
                    file.write(json.dumps(line) + "\n")
        return found


def row(name: str, done: list[Job], staged: bool) -> str:
    """One line of the table."""

    def share(group: list[Job], what: str) -> str:
        return f"{np.mean([getattr(one, what) for one in group]):.2f}" if group else "-"

    quiet, heard = ([one for one in done if one.listens is which] for which in (False, True))
    width = 100 * np.median([one.half_width for one in done])
    widths = "/".join(f"{100 * np.median([j.half_width for j in g]):.1f}" for g in (quiet, heard))
    line = (
        f"| {name} | {share(done, 'inside')} | {share(quiet, 'inside')} / {share(heard, 'inside')} "
        f"| {100 * np.mean([one.too_much for one in done]):.0f} % "
        f"| {1e3 * np.mean([one.first_cut for one in done]):.0f} mm | {width:.1f} % ({widths}) |"
    )
    if staged:
        ends = 100 * np.mean([one.too_short for one in done])
        by_ear = 100 * np.mean([one.as_heard for one in done])
        cuts = np.mean([one.cuts for one in done])
        left = 1e3 * np.median([one.left_over for one in done])
        line += f" {ends:.0f} % / {by_ear:.0f} % | {cuts:.1f} | {left:.0f} mm |"
    return line


HEADER = (
    "| world | in 90 % | quiet/heard | first cut too much | its mean | half width (quiet/heard) |"
)
STAGED = " ends too short: by truth / by ear | cuts | left over |"


def run(count: int, seed: int) -> list[tuple[bool, int, float, Fitted]]:
    """For each experiment: heard or not, readings, true resonance, what the fit found.

    Truths from the fit's own priors.
    """
    rng = np.random.default_rng(seed)
    done = []
    for i in range(count):
        listens = bool(i % 2)
        readings = int(rng.integers(3, 9))
        drawn = synthetic.experiment(rng, readings, listens=listens)
        found = fit(drawn.case, drawn.readings, drawn.heard, warm=True)
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


def ranks(done: list[tuple[bool, int, float, Fitted]]) -> np.ndarray:
    """Where each truth ranks among the weighted draws of its fit, 0 to 1."""
    return np.array(
        [
            float(found.ensemble.weights @ (found.ensemble.frequency < true))
            for _, _, true, found in done
        ]
    )


def report(done: list[tuple[bool, int, float, Fitted]]) -> str:
    lines = []
    groups = {
        "all": done,
        "nothing heard": [d for d in done if not d[0]],
        "a rpm heard": [d for d in done if d[0]],
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
    even = kstest(ranks(done), "uniform").pvalue
    lines.append(
        f"ranks of the truths are even: p = {even:.3f} by Kolmogorov and Smirnov "
        f"({'to be doubted' if even < LEVEL else 'no doubt'} at {100 * LEVEL:g} %)"
    )
    tenths = np.histogram(ranks(done), bins=10, range=(0, 1))[0]
    lines.append(f"truths in each tenth of the draws: {' '.join(map(str, tenths))}")
    outcomes = Counter(str(fd.outcome) for *_, fd in done)
    lines.append(f"outcomes: {dict(outcomes)}")
    effective = [fd.ensemble.effective for *_, fd in done]
    lines.append(
        f"effective draws: median {np.median(effective):.0f}, least {np.min(effective):.0f}; "
        f"widened: {sum(fd.ensemble.widened for *_, fd in done)}; "
        f"steps: most {max(fd.mode.summit.steps for *_, fd in done)}"
    )
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=100)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--world", action="append", help="part of a world's name; all unless given")
    parser.add_argument("--staged", action="store_true", help="the whole job, cut after cut")
    parser.add_argument("--bare", action="store_true", help="only the coefficients are uncertain")
    parser.add_argument("--told", action="store_true", help="the time since the start is told")
    parser.add_argument("--pattern", type=float, help="scale of the skin's smooth departure")
    parser.add_argument("--into", type=Path, help="file that keeps the experiments")
    parser.add_argument("--seconds", type=float, default=np.inf, help="stop after so many")
    parser.add_argument("--ranks", action="store_true", help="truths from the fit's own priors")
    parser.add_argument("--in-time", action="store_true", help="readings during a cold start")
    given = parser.parse_args()
    begun = time.perf_counter()
    if given.pattern is not None:
        shared.PATTERN = given.pattern
    if given.in_time or given.ranks:
        print(report((run_in_time if given.in_time else run)(given.count, given.seed)))
    else:
        print(HEADER + STAGED * given.staged)
        print("|---|---:|---:|---:|---:|---:|" + "---:|---:|---:|" * given.staged)
        kept = Kept(given.into, given.seed, given.bare, given.told)
        for world in worlds.WORLDS:
            if given.world and not any(part in world for part in given.world):
                continue
            done: list[Job] = []
            for number in range(given.count):
                if time.perf_counter() - begun > given.seconds:
                    sys.exit("stopped; the same command goes on from here")
                done.append(kept.run(world, number, staged=given.staged))
            print(row(world, done, given.staged), flush=True)
    print(f"{time.perf_counter() - begun:.0f} s")
