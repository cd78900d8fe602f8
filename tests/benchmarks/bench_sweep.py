"""What a design of a sweep costs, how far processes and a cluster go, and the memory it takes.

    python tests/benchmarks/bench_sweep.py

The example of ``warmbranch example sweep``: eleven fields, four numbers and a transmission loss,
each as a line of JSON. Ratios are between runs of this very run, alternating; promises stand beside
what was found.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[name] = "1"

import json

from warmbranch_service.sweep.cluster import MOST_CHUNKS_A_TASK
from warmbranch_service.sweep.examples import example
from warmbranch_service.sweep.executors import InProcess
from warmbranch_service.sweep.plan import Plan
from warmbranch_service.sweep.processes import ProcessPool
from warmbranch_service.sweep.request import SweepRequest
from warmbranch_service.sweep.table import rows
from warmbranch_service.sweep.varied import CHUNK

CHUNKS = 48
REPEATS = 3
MANY = 100_000
FEW = 1_000
TASKS = 400
MEGABYTE = 1e6


def request(count):
    return {**example(), "sampling": {"method": "sobol", "count": count}}


def plan_of(count):
    return Plan(SweepRequest.model_validate(request(count)))


def seconds(executor, plan, numbers):
    clock = time.perf_counter()
    for _ in executor.solved(plan, numbers):
        pass
    return time.perf_counter() - clock


def alone():
    """Seconds and bytes a design; whether the last ones cost what the first ones do."""
    plan, executor = plan_of(MANY), InProcess()
    seconds(executor, plan, range(2))
    size, each = 0, []
    clock = time.perf_counter()
    for chunk in executor.solved(plan, range(plan.chunks)):
        each.append((time.perf_counter() - clock) / len(chunk.rows))
        size += sum(len(row) + 1 for row in chunk.rows)
        clock = time.perf_counter()
    fifth = len(each) // 5
    flat = statistics.median(each[-fifth:]) / statistics.median(each[:fifth])
    middle, line = statistics.median(each), size / plan.designs
    clock = time.perf_counter()
    written = sum(len(rows(plan, chunk)) for _ in range(8))
    table = (time.perf_counter() - clock) / written
    print(f"in process: {1e6 * middle:.0f} µs a design, {line:.0f} bytes a line")
    print(f"  of {MANY} designs, the last fifth costs {flat:.2f} times the first (flat: 1)")
    print(f"  a line into a row of a table: {1e6 * table:.1f} µs, where it is written")
    return middle, line


def intervals():
    """A line with its interval beside one without, and beside a steady answer of its own."""
    from warmbranch_service.steady.answer import steady
    from warmbranch_service.steady.request import SteadyRequest

    count = 2 * CHUNK
    plain = plan_of(count)
    told = Plan(SweepRequest.model_validate({**request(count), "interval": True}))
    bare = SteadyRequest.model_validate({"case": request(1)["case"]})
    executor, best = InProcess(), [float("inf")] * 3
    for plan in (plain, told):
        seconds(executor, plan, range(1))
    steady(bare)
    for _ in range(REPEATS):
        for place, plan in enumerate((plain, told)):
            best[place] = min(best[place], seconds(executor, plan, range(2)) / count)
        clock = time.perf_counter()
        for _ in range(50):
            steady(bare)
        best[2] = min(best[2], (time.perf_counter() - clock) / 50)
    print(f"a line with its interval: {best[1] / best[0]:.1f} times one without")
    print(f"  and {best[1] / best[2]:.2f} times a steady answer with its interval")


def processes():
    """Two processes beside one; both have started and loaded before."""
    plan, pools = plan_of(MANY), {count: ProcessPool(count) for count in (1, 2)}
    best = dict.fromkeys(pools, float("inf"))
    for pool in pools.values():
        seconds(pool, plan, range(8))
    for _ in range(REPEATS):
        for count, pool in pools.items():
            best[count] = min(best[count], seconds(pool, plan, range(8, 8 + CHUNKS)))
    for pool in pools.values():
        pool.close()
    print(f"two processes: {best[1] / best[2]:.2f} times one (promised: 1.8)")


def memory(count):
    """Peak of a whole command of its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "many.json"
        path.write_text(json.dumps(request(count)), encoding="utf-8")
        command = [sys.executable, "-m", "warmbranch_service", "sweep", str(path)]
        subprocess.run([*command, "--output", str(Path(folder) / "many.parquet")], check=True)
    # The largest of all processes that have ended; on Linux in kibibytes.
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024 / MEGABYTE
    print(f"peak memory, {count} designs to Parquet: {peak:.0f} MB (promised: below 500)")


def nothing(number, size):
    return b"x" * size


def scheduler(design, line):
    """Tasks a second that do nothing, and megabytes a second that pass through the scheduler."""
    from distributed import LocalCluster, wait

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        cluster.get_client() as client,
    ):
        wait([client.submit(nothing, i, 1, pure=False) for i in range(20)])
        clock = time.perf_counter()
        futures = [client.submit(nothing, i, 1, pure=False) for i in range(TASKS)]
        client.gather(futures)
        task = (time.perf_counter() - clock) / TASKS
        size = int(line * CHUNK * MOST_CHUNKS_A_TASK)
        futures = [client.submit(nothing, i, size, pure=False) for i in range(40)]
        wait(futures)
        clock = time.perf_counter()
        for first in range(0, 40, 8):
            client.gather(futures[first : first + 8])
        rate = 40 * size / (time.perf_counter() - clock)
    work = design * CHUNK * MOST_CHUNKS_A_TASK
    designs = rate / line
    print(f"scheduler: {1e3 * task:.2f} ms a task of {work:.2f} s; {rate / MEGABYTE:.0f} MB/s back")
    print(f"  tasks alone would feed {work / task:.0f} workers, lines {designs * design:.0f}")


if __name__ == "__main__":
    memory(FEW)
    memory(MANY)
    intervals()
    processes()
    scheduler(*alone())
