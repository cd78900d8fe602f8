"""What a design costs among thousands, in one process and one thread unless told otherwise.

    python tests/benchmarks/bench_batch.py [DIRECTORY]

Different designs from all over the admissible box (Sobol; wraps, bends, fixed closures, pulsation
all have their share) are answered in chunks: temperatures, first resonance, its quality factor,
transmission loss at 41 engine speeds. Beside it stand single answers one after another and the
straightforward scipy way of bench_steady.py, which solves one invented case, bare and without
pulsation, and is not even asked for transmission loss; nor is the plain numpy way of
plain_numpy.py, which solves variations of that case, on so many elements that it errs no more.
Then cost against the number of designs and of nodes, accuracy against cost, memory in a process of
its own, and two workers against one. What was promised stands beside what was found; tables and
plots go to DIRECTORY.
"""

from __future__ import annotations

import csv
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]

from bench_steady import THREADS, Straightforward, as_accurate, best, many_cases, one_case
from plain_numpy import PlainNumpy, in_parts

from conftest import sample_box
from warmbranch import core
from warmbranch.case.case import Case
from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch.many.chunks import solve_in_chunks
from warmbranch.steady.answer import Answer

DESIGNS = 10_000
SINGLES = 200
SPEEDS = np.linspace(1000.0, 5000.0, 41)
"""Engine speeds, rpm; a four-cylinder four-stroke's firing frequency is two a turn."""
FREQUENCIES = SPEEDS / 60 * 2
SIZES = (1_000, 3_000, 10_000, 30_000, 100_000)
NODES = (33, 65, 97, 129, 161, 225, 321, 641, 1281)
CONVERGED = 2561
RECKONED = 1_000
"""Designs on which nodes are varied."""
WORKER_DESIGNS = 20_000

Row = tuple[str, str, str]
"""What, found, promised."""


def ask(case: Case, nodes: int = DEFAULT_NODES, threads: int = 1) -> np.ndarray:
    """First resonance, quality factor and the losses of every design, (designs, 43)."""
    return np.concatenate(
        [told(answer) for answer in solve_in_chunks(case, nodes=nodes, modes=1, threads=threads)]
    )


def told(answer: Answer) -> np.ndarray:
    loss = answer.transmission_loss(np.tile(FREQUENCIES, (len(answer.case), 1)))
    return np.column_stack([answer.resonance[:, 0], answer.quality_factor, loss])


def one_by_one(case: Case) -> None:
    for i in range(len(case)):
        ask(case.take(slice(i, i + 1)))


def seconds(repeats: int, function: Callable[[], object]) -> float:
    return best(repeats, function)[0]


def against_others() -> list[Row]:
    """A design in the batch, alone, and the straightforward way."""
    case = sample_box(DESIGNS, seed=1)
    few = case.take(slice(0, DESIGNS, DESIGNS // SINGLES))
    varied, invented = many_cases(), one_case()
    elements = as_accurate(varied)
    together, alone, straight, plain, plain_together, own = best(
        3,
        lambda: ask(case),
        lambda: one_by_one(few),
        Straightforward(invented).answer,
        lambda: PlainNumpy(invented, elements).answer(),
        lambda: in_parts(varied, elements),
        lambda: ask(varied),
    )
    each, single = together / len(case), alone / len(few)
    in_numpy, beside = f"plain numpy ({elements} elements)", plain_together / own
    return [
        (f"a design among {DESIGNS:,}", f"{each * 1e6:.0f} µs", "at most 100 µs, aim 50"),
        ("a single answer, of the same", f"{single * 1e6:.0f} µs", "at most 1000 µs, aim 500"),
        ("the batch is quicker than the scipy way", f"{straight / each:.0f} times", "500 times"),
        (f"single answers are quicker than {in_numpy}", f"{plain / single:.1f} times", ""),
        (f"a batch of its {len(varied)} designs is quicker", f"{beside:.1f} times", "10 times"),
        ("the batch is quicker than single answers", f"{single / each:.1f} times", "8 times"),
    ]


def by_designs() -> list[tuple[int, float]]:
    """(designs, s a design)."""
    case = sample_box(max(SIZES), seed=2)
    found = []
    for size in SIZES:
        part = case.take(slice(0, size))
        found.append((size, seconds(3 if size <= 10_000 else 1, lambda p=part: ask(p)) / size))
    return found


def by_nodes() -> list[tuple[int, float, float, float]]:
    """(nodes, s a design, worst and 99th percentile of the first resonance's error)."""
    case = sample_box(RECKONED, seed=3)
    # Two fine grids, extrapolated: the scheme is of second order.
    fine, coarse = (ask(case, nodes)[:, 0] for nodes in (CONVERGED, (CONVERGED + 1) // 2))
    exact = fine + (fine - coarse) / 3
    found = []
    for nodes in NODES:
        each = seconds(2, lambda n=nodes: ask(case, n)) / RECKONED
        error = np.abs(ask(case, nodes)[:, 0] / exact - 1)
        found.append((nodes, each, float(np.nanmax(error)), float(np.nanpercentile(error, 99))))
    return found


def memory_of(designs: int) -> float:
    """Peak memory of a fresh process that answers so many designs, MB."""
    command = [sys.executable, str(HERE), "--peak", str(designs)]
    told = subprocess.run(command, check=True, capture_output=True, text=True)
    return float(told.stdout)


def peak(designs: int) -> None:
    """Answer chunk by chunk, keep what a sweep would, print the peak of this process, MB."""
    ask(sample_box(designs, seed=4))
    # Not getrusage, whose peak a process inherits from who started it.
    status = Path("/proc/self/status").read_text(encoding="ascii")
    print(int(next(line for line in status.splitlines() if "VmHWM" in line).split()[1]) / 1024)


def _warm(_: int) -> None:
    ask(sample_box(256, seed=5))
    time.sleep(0.5)  # long enough for every worker to be given one


def _worker(part: int) -> float:
    ask(sample_box(WORKER_DESIGNS // 4, seed=6 + part))
    return 0.0


def workers() -> list[Row]:
    """Two workers over one, the same parts of work handed out."""

    def processes(count: int) -> float:
        with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
            list(pool.map(_warm, range(count)))
            return seconds(2, lambda: list(pool.map(_worker, range(4))))

    one, two = processes(1), processes(2)
    case = sample_box(WORKER_DESIGNS, seed=6)
    thread, threads = best(2, lambda: ask(case), lambda: ask(case, threads=2))
    return [
        ("two processes over one", f"{one / two:.2f} times", "1.8 times"),
        ("two threads over one", f"{thread / threads:.2f} times", "1.8 times"),
    ]


def straightness(nodes: Sequence[float], cost: Sequence[float]) -> tuple[float, float]:
    """Exponent of cost against nodes over the finer half, and cost of a node, s."""
    x, y = np.log(nodes), np.log(cost)
    fine = np.array(nodes) >= DEFAULT_NODES
    return float(np.polyfit(x[fine], y[fine], 1)[0]), float(np.polyfit(nodes, cost, 1)[0])


def draw(
    directory: Path,
    designs: list[tuple[int, float]],
    nodes: list[tuple[int, float, float, float]],
) -> None:
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot

    size, each = zip(*designs, strict=True)
    figure, axes = pyplot.subplots(figsize=(6, 4))
    axes.semilogx(size, np.array(each) * 1e6, "o-")
    axes.set(xlabel="designs", ylabel="µs a design", ylim=(0, None))
    figure.savefig(directory / "cost_against_designs.svg", bbox_inches="tight")

    count, cost, worst, usual = (np.array(column) for column in zip(*nodes, strict=True))
    figure, axes = pyplot.subplots(figsize=(6, 4))
    axes.plot(count, cost * 1e6, "o")
    axes.plot(count, np.polyval(np.polyfit(count, cost, 1), count) * 1e6, "-")
    axes.set(xlabel="nodes", ylabel="µs a design", ylim=(0, None))
    figure.savefig(directory / "cost_against_nodes.svg", bbox_inches="tight")

    figure, axes = pyplot.subplots(figsize=(6, 4))
    for error, name in ((worst, "worst"), (usual, "99th percentile")):
        axes.loglog(cost * 1e6, error, "o-", label=name)
    for x, y, label in zip(cost * 1e6, worst, count, strict=True):
        axes.annotate(str(label), (x, y))
    axes.axhline(1e-4, linestyle=":")
    axes.set(xlabel="µs a design", ylabel="relative error of the first resonance")
    axes.legend()
    figure.savefig(directory / "accuracy_against_cost.svg", bbox_inches="tight")


def write(
    directory: Path, name: str, head: Sequence[str], rows: Sequence[Sequence[object]]
) -> None:
    with (directory / name).open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(head)
        writer.writerows(rows)


def main(directory: Path | None) -> None:
    if core.at_hand() is None:
        raise SystemExit("no compiled core here: it is missing, or the environment forbids it")
    np.seterr(all="ignore")
    rows = against_others()
    designs, nodes = by_designs(), by_nodes()
    cost = [each for _, each in designs]
    exponent, per_node = straightness(*zip(*((n, each) for n, each, *_ in nodes), strict=True))
    at_default = next(row for row in nodes if row[0] == DEFAULT_NODES)
    rows += [
        ("dearest over cheapest, 1,000 to 100,000", f"{max(cost) / min(cost):.2f}", "flat"),
        ("cost goes as nodes to the power of", f"{exponent:.2f}", "linear"),
        ("cost of a node", f"{per_node * 1e9:.0f} ns", ""),
        (f"worst error on {DEFAULT_NODES} nodes", f"{at_default[2]:.1e}", "1e-4"),
        ("peak memory of 100,000 designs", f"{memory_of(100_000):.0f} MB", "under 500 MB"),
        *workers(),
    ]
    print("| what | found | promised |\n| --- | ---: | ---: |")
    for row in rows:
        print("| {} | {} | {} |".format(*row))
    print("\n| designs | µs a design |\n| ---: | ---: |")
    for size, each in designs:
        print(f"| {size:,} | {each * 1e6:.1f} |")
    print("\n| nodes | µs a design | worst error | 99th percentile |")
    print("| ---: | ---: | ---: | ---: |")
    for count, each, worst, usual in nodes:
        print(f"| {count} | {each * 1e6:.1f} | {worst:.1e} | {usual:.1e} |")
    if directory is not None:
        directory.mkdir(parents=True, exist_ok=True)
        write(directory, "summary.csv", ("what", "found", "promised"), rows)
        write(directory, "designs.csv", ("designs", "s_a_design"), designs)
        write(directory, "nodes.csv", ("nodes", "s_a_design", "worst", "percentile_99"), nodes)
        draw(directory, designs, nodes)


if __name__ == "__main__":
    one_thread = dict.fromkeys(THREADS, "1")
    if not one_thread.items() <= os.environ.items():
        # Libraries read these when they are loaded, which is before this line: start again.
        os.execve(sys.executable, [sys.executable, *sys.argv], os.environ | one_thread)
    if sys.argv[1:2] == ["--peak"]:
        peak(int(sys.argv[2]))
    else:
        main(Path(sys.argv[1]) if sys.argv[1:] else None)
