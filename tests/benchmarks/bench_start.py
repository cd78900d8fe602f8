"""What a start costs: of the command line, and of the service until it answers.

    python tests/benchmarks/bench_start.py

Seconds of the processor, which other processes leave alone, are judged; those on the wall stand
beside them. Bytecode is there, as after a first start.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

sys.path[:0] = [str(Path(__file__).parents[1])]  # for shared

from shared.requests import GAS, sweep_of, uniform
from shared.running import Service, ask, resident_MiB
from warmbranch_service.demo import demo_text

REPEATS = 5
COMMAND_SECONDS, SERVICE_SECONDS = 1.0, 5.0
BODY = demo_text("van").encode()


class Cost(NamedTuple):
    """s, of the processor and on the wall."""

    processor: float
    wall: float


def of_command(*words: str) -> Cost:
    """The best of some runs of ``warmbranch``."""

    def run() -> None:
        command = [sys.executable, "-m", "warmbranch_service", *words]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)

    return min(ended(run) for _ in range(REPEATS))


def ended(work: Callable[[], None]) -> Cost:
    """What processes that end within it cost."""

    def spent() -> float:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    before, begun = spent(), time.perf_counter()
    work()
    return Cost(spent() - before, time.perf_counter() - begun)


def had(pids: list[int]) -> float:
    """s of the processor that processes which live have had."""
    ticks = 0
    for pid in pids:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        ticks += sum(map(int, fields[11:13]))
    return ticks / os.sysconf("SC_CLK_TCK")


def until_answered(service: Service, path: str, body: bytes) -> Cost:
    """From now until the answer is there."""
    begun = time.perf_counter()
    while True:
        with contextlib.suppress(OSError, http.client.HTTPException):
            if ask(service.port, "POST", path, body)[0] == 200:
                break
        time.sleep(0.02)
    wall = time.perf_counter() - begun
    return Cost(had([service.process.pid, *service.workers()]), wall)


def main() -> bool:
    held = True
    print("| start | processor, s | on the wall, s | promised, s of the processor | |")
    print("| --- | ---: | ---: | ---: | --- |")

    def told(what: str, cost: Cost, promised: float) -> None:
        nonlocal held
        fine = cost.processor <= promised
        held = held and fine
        print(f"| {what} | {cost.processor:.2f} | {cost.wall:.2f} | {promised:g} | "
              f"{'held' if fine else 'MISSED'} |", flush=True)  # fmt: skip

    with tempfile.TemporaryDirectory() as folder:
        request = Path(folder) / "van.json"
        request.write_bytes(BODY)
        told("`warmbranch steady`", of_command("steady", str(request)), COMMAND_SECONDS)
        with Service(Path(folder) / "log", workers=1) as service:
            told("the service to its first answer", until_answered(service, "/v1/steady", BODY),
                 SERVICE_SECONDS)  # fmt: skip
            (worker,) = service.workers()
            after = resident_MiB(worker)
            sampled = sweep_of(json.loads(BODY), uniform(GAS, 250, 450), count=512, seed=1)
            told("and to that of a first sweep of 512", until_answered(
                service, "/v1/sweep", json.dumps(sampled).encode()), SERVICE_SECONDS)  # fmt: skip
            print(f"\nmemory of the worker: {after:.0f} MiB, after the sweep "
                  f"{resident_MiB(worker):.0f} MiB")  # fmt: skip
    return held


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
