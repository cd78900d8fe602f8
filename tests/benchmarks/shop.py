"""What a shop learns: how often the next, unread branch's tone lies where its jobs say.

``python tests/benchmarks/shop.py [N] [--world NAME] [--jobs 1,3,6]`` prints, for N invented shops
of each world, after so many jobs that were read and heard: the share of next branches whose true
tone lies inside the 90 % and the 50 % interval, without a shop and with it; the median of the
interval's width over that without; and how long a job's own fit and the learning took. An honest
90 % interval holds nine of ten.

Then the width that would be left, rung by rung, to who knew more than jobs tell: how much jobs
differ; every coefficient of each job before; what is common to all jobs, and how much they differ;
every coefficient of the next one. The last is what is of one job, gas temperature, flow, air and
paint, and no shop can beat it. ``--shares`` prints what each unknown has in the variance of the
next branch before any job, and in what six jobs leave.

Worlds: jobs that differ by nothing, a tenth, a quarter and all of today's variance; two kinds of
mouth that a shop does not tell apart; and a reader who is careless every third time, 40 K too high.

``--draw FILE`` draws the widths of the table in ``shop.md`` against the number of jobs.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import synthetic

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.prediction import expect
from warmbranch.belief.shop import USUAL, JobTraits, Shop
from warmbranch.belief.unknown import Spreads
from warmbranch.fit.readings import usual_uncertainty
from warmbranch.fit.solve import fit
from warmbranch.learn import population
from warmbranch.learn.population import Jobs, Seen
from warmbranch.learn.solve import CENTRES, SPREADS, learn, ranges_of
from warmbranch.learn.summary import MeasuredBranch, Summary, summary_of

MOUTH = ("mouth_exchange", "tone_exchange", "stirring", "reach", "sharpness", "mouth_factor")
KINDS = 1.3
"""Usual spreads by which each kind of mouth lies to either side."""

TOO_HIGH = 40.0
"""K, of the careless reader."""

CERTAIN = 1e3
"""Over a usual spread, of what is seen through."""

WORLDS = {
    "nothing differs": 0.0,
    "a tenth differs": 0.1,
    "a quarter differs": 0.25,
    "all differs": 1.0,
    "two kinds of mouth": 0.1,
    "a careless reader": 0.25,
}


class Invented:
    """One shop: what is common to its jobs, and jobs one after another."""

    def __init__(self, world: str, rng: np.random.Generator) -> None:
        self.world, self.rng, self.share = world, rng, WORLDS[world]
        self.common = np.sqrt(1 - self.share) * rng.normal(size=len(USUAL))
        self.made: list[np.ndarray] = []

    @property
    def kinds(self) -> np.ndarray:
        """Which unknowns are of two kinds, (unknowns,) of bool."""
        two = self.world == "two kinds of mouth"
        return np.array([two and name in MOUTH for name in USUAL])

    @property
    def population(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean and variance of what jobs have, over the usual spread, (unknowns,) each."""
        kinds = self.kinds
        return np.where(kinds, 0.0, self.common), self.share + KINDS**2 * kinds

    def job(self):
        """An experiment, with a truth of this shop's kind."""
        case = synthetic.a_case(self.rng)
        prior = Calibration.prior(case)
        kind = KINDS * self.rng.choice([-1.0, 1.0])
        z = np.where(self.kinds, kind, self.common)
        for i, name in enumerate(USUAL):
            if name in prior.names:
                z[i] += np.sqrt(self.share) * self.rng.normal()
        own = {
            name: usual.centre + usual.spread * z[i]
            for i, (name, usual) in enumerate(USUAL.items())
            if name in prior.names
        }
        self.made.append(z)
        count = int(self.rng.integers(4, 9))
        made = synthetic.experiment(self.rng, count, listens=True, case=case, given=own)
        if self.world == "a careless reader" and len(self.made) % 3 == 0:
            shown = made.readings.displayed + TOO_HIGH
            high = replace(made.readings, displayed=shown, uncertainty=usual_uncertainty(shown))
            made = replace(made, readings=high)
        return made


def measured(name: str, made: synthetic.Experiment) -> MeasuredBranch:
    """An experiment as a finished job, read and heard warm."""
    return MeasuredBranch(name, made.case, made.readings, made.heard, Spreads(), warm=True)


def next_of(case, mean: np.ndarray, share: float | np.ndarray) -> Calibration:
    """What is believed of a case whose physics is known to differ by a share about (unknowns,)."""
    variance = SPREADS**2 * np.broadcast_to(share, len(USUAL))
    learned = Calibration(tuple(USUAL), CENTRES + SPREADS * mean, np.diag(variance))
    return Shop(learned, ranges_of([JobTraits.of(case)])).of(case)


def with_known_split(kept: list[Summary], share: float) -> Shop:
    """What jobs teach one who knows how much they differ, which is by one share."""
    usual = population.SHARES, population.CHANCES
    population.SHARES, population.CHANCES = np.array([max(share, 1e-6)]), np.ones(1)
    try:
        return learn(kept).shop
    finally:
        population.SHARES, population.CHANCES = usual


def seen_through(jobs: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Mean and variance of the next job's physics if every coefficient of these were known."""
    size = len(USUAL)
    seen = [Seen(CERTAIN * np.eye(size), CERTAIN * job, np.zeros(size)) for job in jobs]
    mean, covariance = Jobs(seen, size).population().next_job()
    return mean, np.diag(covariance)


@dataclass
class Found:
    """Of one shop after so many jobs: what was told of the next branch.

    Attributes
    ----------
    inside : (told, 2) array of bool
        Whether the truth lies in the 90 and the 50 % interval: without a shop, with it, and with
        it where ranges are not looked at.
    width : (rungs,) array
        Of the 90 % interval of ln f, of these three and then rung by rung.
    distrust : float
    """

    inside: np.ndarray
    width: np.ndarray
    distrust: float


def run(world: str, shops: int, counts: list[int], seed: int) -> list[str]:
    """Lines of the table."""
    found: dict[int, list[Found]] = {count: [] for count in counts}
    fitting, learning, fits, apart = 0.0, 0.0, 0, 0
    for number in range(shops):
        rng = np.random.default_rng([seed, number, *world.encode()])
        shop, kept = Invented(world, rng), []
        for place in range(max(counts)):
            made = shop.job()
            begun = time.process_time()
            kept.append(summary_of(measured(str(place), made)))
            fitting, fits = fitting + time.process_time() - begun, fits + 1
        after = shop.job()
        truth, case = float(after.truth.resonance[0, 0]), after.case
        plain = expect(case, Calibration.prior(case)).resonance
        mean, variance = shop.population
        rungs = [next_of(case, mean, variance), next_of(case, shop.made[-1], 0.0)]
        best = [expect(case, one).resonance for one in rungs]
        for count in counts:
            begun = time.process_time()
            learned = learn(kept[:count])
            learning += (time.process_time() - begun) * (count == max(counts))
            apart += sum(one.apart for one in learned.apart) * (count == max(counts))
            split = with_known_split(kept[:count], shop.share)
            believed = [
                learned.shop.of(case),
                anywhere(learned.shop, case).of(case),
                anywhere(split, case).of(case),
                next_of(case, *seen_through(shop.made[:count])),
            ]
            told = [plain, *(expect(case, one).resonance for one in believed), *best]
            if np.any(shop.kinds):
                told[3] = np.full_like(plain, np.nan)  # two kinds differ by no one share
            inside = [[one[a] <= truth <= one[b] for a, b in ((0, 4), (1, 3))] for one in told[:3]]
            width = [np.log(one[4] / one[0]) for one in told]
            distrust = learned.shop.distrust(case)
            found[count].append(Found(np.array(inside), np.array(width), distrust))
    lines = []
    for count, rows in found.items():
        inside = np.mean([row.inside for row in rows], axis=0)
        widths = np.array([row.width for row in rows])
        ratio = np.median(widths[:, 1:] / widths[:, :1], axis=0)
        held = [f"{here[0]:.2f} {here[1]:.2f}" for here in inside]
        cells = [world, count, held[0], held[1], f"{ratio[0]:.2f}", held[2]]
        cells += ["-" if np.isnan(one) else f"{one:.2f}" for one in ratio[1:]]
        cells.append(f"{np.mean([row.distrust for row in rows]):.2f}")
        lines.append(f"| {' | '.join(map(str, cells))} |")
    lines.append(
        f"{world}: learning from {max(counts)} jobs took {learning / shops * fits / fitting:.2f} "
        f"times one job's fit; {apart} of {fits} jobs were called apart"
    )
    return lines


def shares(world: str, shops: int, count: int, seed: int) -> list[str]:
    """Each unknown's part of the next branch's variance, before any job and after some."""
    size = {"before": {}, "after": {}}
    for number in range(shops):
        rng = np.random.default_rng([seed, number, *world.encode()])
        shop, kept = Invented(world, rng), []
        for place in range(count):
            made = shop.job()
            kept.append(summary_of(measured(str(place), made)))
        case = shop.job().case
        prior = Calibration.prior(case)
        answers = {"before": expect(case, prior)}
        answers["after"] = expect(case, anywhere(learn(kept).shop, case).of(case))
        whole = np.log(answers["before"].resonance[4] / answers["before"].resonance[0]) ** 2
        for when, one in answers.items():
            over = np.log(one.resonance[4] / one.resonance[0]) ** 2 / whole
            for name, share in zip(one.names, one.shares, strict=True):
                size[when].setdefault(name, []).append(share * over)
    names = sorted(size["before"], key=lambda name: -np.sum(size["before"][name]))
    rows = [[f"{np.sum(size[when][name]) / shops:.2f}" for when in size] for name in names]
    return [f"| {name} | {' | '.join(row)} |" for name, row in zip(names, rows, strict=True)]


def anywhere(shop: Shop, case) -> Shop:
    """The same, as if it had learned on a branch like this one too."""
    return Shop(shop.learned, ranges_of([shop.ranges.low, shop.ranges.high, JobTraits.of(case)]))


def clock(jobs: int = 30, more: int = 20) -> list[str]:
    """What learning from so many jobs takes over fitting one, and one more beside all of them.

    A fit and a learning take turns, so that others at the machine slow both alike.
    """
    rng = np.random.default_rng(21)
    kept, fits = [], []
    for place in range(jobs):
        made = synthetic.experiment(rng, 6, listens=True)
        one = measured(f"{place:02}", made)
        kept.append(summary_of(one))
        fits.append((one, made))
    kept += [replace(one, name=f"{one.name} again") for one in kept[:more]]
    extra = replace(kept[0], name="one more")
    counts = (1, 6, 12, jobs, jobs + more, jobs + more + 1)
    taken = {count: [] for count in counts}
    alone, whole = [], []
    for one, made in fits:
        begun = time.process_time()
        summary_of(one)
        alone.append(time.process_time() - begun)
        begun = time.process_time()
        fit(made.case, made.readings, made.heard, warm=True)
        whole.append(time.process_time() - begun)
        for count in counts:
            begun = time.process_time()
            learn([*kept, extra][:count])
            taken[count].append(time.process_time() - begun)
    own = np.median(alone)
    lines = [
        f"learning from {count} jobs, each held out once: {np.median(times) / own:.2f} times "
        "one job's fit"
        for count, times in taken.items()
    ]
    advised = np.median(whole)
    together = jobs * own + np.median(taken[jobs])
    lines.append(
        f"{jobs} jobs, their own fits included: {together / advised:.1f} times one with a fit's "
        "advice"
    )
    added = own + np.median(taken[counts[-1]])
    lines.append(
        f"one more beside {counts[-2]}, its own fit included: {added / own:.2f} times that fit, "
        f"{added / advised:.2f} times one with a fit's advice ({1e3 * advised:.0f} ms)"
    )
    return lines


TABLE = Path(__file__).with_name("shop.md")


def widths(table: str) -> dict[str, list[tuple[int, float, float]]]:
    """Jobs, width with the shop and at the last rung, by world, of a table's lines."""
    found = {}
    for line in table.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if cells[0] in WORLDS:
            row = int(cells[1]), float(cells[4]), float(cells[10])
            found.setdefault(cells[0], []).append(row)
    return found


def draw(into: Path) -> None:
    """The interval of the next, unread branch over that without a shop, against jobs."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    mpl.rcParams["svg.hashsalt"] = "shop"  # the same bytes every time
    figure = Figure(figsize=(7, 4), layout="constrained")
    axes = figure.subplots()
    every = widths(TABLE.read_text())
    for world, rows in every.items():
        count, width, _ = zip(*[(0, 1.0, 1.0), *rows], strict=True)
        axes.plot(count, width, marker="o", label=world)
    known = np.median([row[2] for rows in every.values() for row in rows])
    axes.axhline(known, linestyle=":", color="black", label="every coefficient known")
    axes.set(
        xlabel="jobs read and heard before",
        ylabel="90 % interval over that without a shop",
        ylim=(0, None),
    )
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8)
    figure.savefig(into, metadata={"Date": None})


HEADER = (
    "| world | jobs | untuned in 90, 50 % | with the shop | width over untuned "
    "| ranges not looked at | width | split known | jobs seen through | population known "
    "| next job's physics known | distrust |\n"
    f"|{'---|' * 12}"
)

if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=60)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--world", action="append", help="part of a world's name; all unless given")
    parser.add_argument("--jobs", default="1,3,6", help="numbers of jobs, commas between")
    parser.add_argument("--clock", action="store_true", help="the time alone, without worlds")
    parser.add_argument("--shares", action="store_true", help="what each unknown has in the next")
    parser.add_argument("--draw", type=Path, help="picture of the widths in shop.md")
    given = parser.parse_args()
    if given.draw:
        draw(given.draw)
        raise SystemExit
    if given.clock:
        print("\n".join(clock()))
        raise SystemExit
    if not given.shares:
        print(HEADER)
    for world in WORLDS:
        if not given.world or any(part in world for part in given.world):
            numbers = [int(part) for part in given.jobs.split(",")]
            if given.shares:
                print(world, *shares(world, given.count, max(numbers), given.seed), sep="\n")
            else:
                print("\n".join(run(world, given.count, numbers, given.seed)), flush=True)
