"""What a shop learns: how often the next, unread branch's tone lies where its jobs say.

``python tests/benchmarks/shop.py [N] [--world NAME] [--jobs 1,3,6]`` prints, for N invented shops
of each world, after so many jobs that were read and heard: the share of next branches whose true
tone lies inside the 90 % and the 50 % interval, without a shop and with it; the median of the
interval's width over that without; the same if every coefficient of the physics were known, which
no shop can beat; and how long a job's own fit and the learning took. An honest 90 % interval holds
nine of ten.

Worlds: jobs that differ by a tenth, a quarter and all of today's variance; two kinds of mouth that
a shop does not tell apart; and a reader who is careless every third time, 40 K too high.

``--draw FILE`` draws the widths of the table in ``shop.md`` against the number of jobs.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import synthetic

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.prediction import expect
from warmbranch.belief.shop import USUAL, JobTraits, Shop
from warmbranch.belief.unknown import Spreads
from warmbranch.fit.readings import usual_uncertainty
from warmbranch.fit.solve import fit
from warmbranch.learn.solve import learn, ranges_of
from warmbranch.learn.summary import MeasuredBranch, summary_of

MOUTH = ("mouth_exchange", "tone_exchange", "stirring", "reach", "sharpness", "mouth_factor")
KINDS = 1.3
"""Usual spreads by which each kind of mouth lies to either side."""

TOO_HIGH = 40.0
"""K, of the careless reader."""

WORLDS = {
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
        self.common = {name: np.sqrt(1 - self.share) * rng.normal() for name in USUAL}
        self.made = 0

    def job(self):
        """An experiment, with a truth of this shop's kind."""
        case = synthetic.a_case(self.rng)
        prior = Calibration.prior(case)
        kind = KINDS * self.rng.choice([-1.0, 1.0])
        own = {}
        for name, usual in USUAL.items():
            if name in prior.names:
                z = self.common[name] + np.sqrt(self.share) * self.rng.normal()
                if self.world == "two kinds of mouth" and name in MOUTH:
                    z = kind + np.sqrt(self.share) * self.rng.normal()
                own[name] = usual.centre + usual.spread * z
        self.made += 1
        count = int(self.rng.integers(4, 9))
        made = synthetic.experiment(self.rng, count, listens=True, case=case, given=own)
        if self.world == "a careless reader" and self.made % 3 == 0:
            shown = made.readings.displayed + TOO_HIGH
            high = replace(made.readings, displayed=shown, uncertainty=usual_uncertainty(shown))
            made = replace(made, readings=high)
        return made


def known(made, believed: Calibration) -> Calibration:
    """What would be believed if the physics were known as it is."""
    sure = np.array([name in USUAL for name in believed.names])
    mean = np.where(sure, made.coordinates, believed.mean)
    return Calibration(believed.names, mean, believed.covariance * np.outer(~sure, ~sure))


def run(world: str, shops: int, counts: list[int], seed: int) -> list[str]:
    """Lines of the table."""
    found = {count: [] for count in counts}
    fitting, learning, fits, apart = 0.0, 0.0, 0, 0
    for number in range(shops):
        rng = np.random.default_rng([seed, number, *world.encode()])
        shop, kept = Invented(world, rng), []
        for place in range(max(counts)):
            made = shop.job()
            begun = time.process_time()
            one = MeasuredBranch(
                str(place), made.case, made.readings, made.heard, Spreads(), warm=True
            )
            kept.append(summary_of(one))
            fitting, fits = fitting + time.process_time() - begun, fits + 1
        after = shop.job()
        truth = float(after.truth.resonance[0, 0])
        prior = Calibration.prior(after.case)
        plain = expect(after.case, prior).resonance
        best = expect(after.case, known(after, prior)).resonance
        for count in counts:
            begun = time.process_time()
            learned = learn(kept[:count])
            learning += (time.process_time() - begun) * (count == max(counts))
            apart += sum(one.apart for one in learned.apart) * (count == max(counts))
            told = [plain]
            told += [
                expect(after.case, where.of(after.case)).resonance
                for where in (learned.shop, anywhere(learned.shop, after.case))
            ]
            width = [np.log(one[4] / one[0]) for one in (*told, best)]
            inside = [[one[a] <= truth <= one[b] for a, b in ((0, 4), (1, 3))] for one in told]
            found[count].append((inside, width, learned.shop.distrust(after.case)))
    lines = []
    for count, rows in found.items():
        inside = np.mean([row[0] for row in rows], axis=0)
        widths = np.array([row[1] for row in rows])
        ratio = np.median(widths[:, 1:] / widths[:, :1], axis=0)
        lines.append(
            f"| {world} | {count} | {inside[0, 0]:.2f} {inside[0, 1]:.2f} "
            f"| {inside[1, 0]:.2f} {inside[1, 1]:.2f} | {ratio[0]:.2f} "
            f"| {inside[2, 0]:.2f} {inside[2, 1]:.2f} | {ratio[1]:.2f} | {ratio[2]:.2f} "
            f"| {np.mean([row[2] for row in rows]):.2f} |"
        )
    lines.append(
        f"{world}: learning from {max(counts)} jobs took {learning / shops * fits / fitting:.2f} "
        f"times one job's fit; {apart} of {fits} jobs were called apart"
    )
    return lines


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
        one = MeasuredBranch(
            f"{place:02}", made.case, made.readings, made.heard, Spreads(), warm=True
        )
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
    """Jobs, width with the shop and with the physics known, by world, of a table's lines."""
    found = {}
    for line in table.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if cells[0] in WORLDS:
            row = int(cells[1]), float(cells[4]), float(cells[7])
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
    "| ranges not looked at | width | physics known: width | distrust |\n"
    "|---|---|---|---|---|---|---|---|---|"
)

if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", nargs="?", type=int, default=60)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--world", action="append", help="part of a world's name; all unless given")
    parser.add_argument("--jobs", default="1,3,6", help="numbers of jobs, commas between")
    parser.add_argument("--clock", action="store_true", help="the time alone, without worlds")
    parser.add_argument("--draw", type=Path, help="picture of the widths in shop.md")
    given = parser.parse_args()
    if given.draw:
        draw(given.draw)
        raise SystemExit
    if given.clock:
        print("\n".join(clock()))
        raise SystemExit
    print(HEADER)
    for world in WORLDS:
        if not given.world or any(part in world for part in given.world):
            numbers = [int(part) for part in given.jobs.split(",")]
            print("\n".join(run(world, given.count, numbers, given.seed)), flush=True)
