"""What the service adds to a steady answer beyond the solver's own time.

    python tests/benchmarks/bench_service.py [rounds]

Three things take turns in one run: a plain FastAPI route that takes the same body and gives the
same bytes back, served by uvicorn in the same way and asked by the same client; the service with
one worker; and, in this process, the solver on the same case with the same loops. What is left of
the service's time after both others have been taken off is what the service adds: reading and
checking the request, units, building and writing the answer, the thread, the log, the metrics.
Times are of the processor, in the process that answers, so that other processes do not count.
"""

from __future__ import annotations

import http.client
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))  # for shared

from fastapi import FastAPI
from starlette.responses import Response

from shared.running import Service, ask, free_port
from warmbranch import core
from warmbranch.belief.depth import depth
from warmbranch.steady.cautions import findings
from warmbranch.steady.solve import solve
from warmbranch_service.case.convert import to_physics
from warmbranch_service.contract.strict_json import parse
from warmbranch_service.demo import demo_text
from warmbranch_service.http.settings import Settings
from warmbranch_service.serving.server import Server
from warmbranch_service.serving.worker import SWITCH_SECONDS, configuration
from warmbranch_service.steady.answer import answer_of
from warmbranch_service.steady.request import SteadyRequest

ROUNDS = 2000
TURN, SETTLING = 25, 5
MOST_FOR_INTERVAL = 3.0
PROMISED_MS = 1.0
PATH = "/v1/steady"


def echo(port: int, content: Path) -> None:
    """Serve the plain route until ended."""
    sys.setswitchinterval(SWITCH_SECONDS)
    app, given = FastAPI(), content.read_bytes()

    @app.post(PATH)  # which is who calls it
    async def same(body: dict[str, Any]) -> Response:  # pyright: ignore[reportUnusedFunction]
        return Response(given, media_type="application/json")

    server = Server(configuration(Settings(), lambda: app), grace=1)
    server.run([socket.create_server(("127.0.0.1", port))])


class Port(NamedTuple):
    """Where one listens, and which process that is."""

    number: int
    pid: int


@contextmanager
def echoing(content: bytes, scratch: Path):
    """The plain route in a process of its own; where it is."""
    (scratch / "answer.json").write_bytes(content)
    port = free_port()
    command = [sys.executable, __file__, "echo", str(port), str(scratch / "answer.json")]
    process = subprocess.Popen(command)
    try:
        for _ in range(600):
            try:
                socket.create_connection(("127.0.0.1", port)).close()
                break
            except OSError:
                time.sleep(0.05)
        yield Port(port, process.pid)
    finally:
        process.terminate()
        process.wait()


class Asker:
    """Posts one body again and again on one connection."""

    def __init__(self, port: int, body: bytes) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        self._body = body
        self._connect()

    def _connect(self) -> None:
        self._connection.close()
        self._connection.connect()
        self._connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _answered(self) -> http.client.HTTPResponse:
        self._connection.request("POST", PATH, self._body, {"content-type": "application/json"})
        return self._connection.getresponse()

    def __call__(self) -> bytes:
        try:
            response = self._answered()
        except (
            ConnectionError
        ):  # between its turns, on a busy machine, a line may be closed as idle
            self._connect()
            response = self._answered()
        content = response.read()
        assert response.status == 200, content
        return content


class InProcess:
    """One answer as the service makes it, without the service; each part is timed.

    In the order of a real answer, so that the solver finds the caches as it does there.
    """

    def __init__(self, body: bytes) -> None:
        self.body = body
        self.content = b""
        self.spent: dict[str, list[float]] = {
            name: [] for name in ("read", "convert", "solver", "build", "write")
        }

    def __call__(self) -> None:
        clock = [time.thread_time()]

        def tick() -> None:
            clock.append(time.thread_time())

        request = SteadyRequest.model_validate(parse(self.body))
        tick()
        converted = to_physics(request.case)
        tick()
        solved = solve(converted.case)
        tick()
        built = answer_of(request, converted, solved)
        tick()
        self.content = built.model_dump_json().encode()
        tick()
        # Building does three parts of the physics: the transmission loss of the curve and how sure
        # its deepest is, and what the model finds to warn of.
        solved.transmission_loss(np.array([built.attenuation.frequency_Hz]))
        depth(solved)
        assert findings(solved)
        tick()
        spent = [(after - before) * 1e3 for before, after in pairwise(clock)]
        sound = spent.pop()
        spent[2] += sound
        spent[3] -= sound
        for times, value in zip(self.spent.values(), spent, strict=True):
            times.append(value)


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return (time.perf_counter() - start) * 1e3


def processor(pid: int) -> float:
    """ms of the processor that a process has had."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return sum(map(int, fields[11:13])) / os.sysconf("SC_CLK_TCK") * 1e3


def measure(
    works: dict[str, Callable[[], object]], rounds: int, processes: dict[str, int]
) -> tuple[dict[str, list[float]], dict[str, float]]:
    """Milliseconds of each, taking turns so that all see the same machine.

    And, of some, those of the processor in the process that answers, the mean of a call.

    A turn is a few calls in a row: a service that is asked again and again is what is meant, not
    one whose processor has gone to sleep since the last call.
    """
    found: dict[str, list[float]] = {name: [] for name in works}
    spent_there = dict.fromkeys(processes, 0.0)
    for _ in range(rounds // TURN):
        for name, work in works.items():
            before = processor(processes[name]) if name in processes else 0.0
            for number in range(SETTLING + TURN):
                spent = timed(work)
                if number >= SETTLING:
                    found[name].append(spent)
            if name in processes:
                spent_there[name] += processor(processes[name]) - before
    calls = rounds // TURN * (SETTLING + TURN)
    return found, {name: spent / calls for name, spent in spent_there.items()}


def report(
    found: dict[str, list[float]], there: dict[str, float], parts: dict[str, list[float]]
) -> bool:
    """Print the table; whether the promise is held."""
    echo, service = there["echo"], there["service"]
    inside = {name: statistics.fmean(times) for name, times in parts.items()}
    solver = inside.pop("solver")
    added = service - echo - solver
    print(f"ms of the processor, means of {len(found['service'])} taking turns")
    for name, value in (
        ("plain FastAPI echo of the same bytes", echo),
        ("solver in process, same loops", solver),
        ("service", service),
    ):
        print(f"  {name:<44}{value:>8.3f}")
    print(f"  {'the service adds':<44}{added:>8.3f}   promised: at most {PROMISED_MS:g}")
    for name, value in inside.items():
        print(f"    {name:<42}{value:>8.3f}")
    rest = added - sum(inside.values())
    print(f"    {'frame, thread, log, metrics (the rest)':<42}{rest:>8.3f}")
    print(f"  {'service over echo and solver':<44}{service / (echo + solver):>8.2f}")
    asked, plain = (statistics.median(found[name]) for name in ("service", "echo"))
    print(f"  until the answer is there, medians: {asked:.2f} ms, the plain echo's {plain:.2f} ms")
    interval = statistics.median(found["interval"]) / service
    print(f"  {'with its interval, over without':<44}{interval:>8.2f}   promised: at most "
          f"{MOST_FOR_INTERVAL:g}")  # fmt: skip
    held = added <= PROMISED_MS and interval <= MOST_FOR_INTERVAL
    print("  held" if held else "  MISSED")
    return held


def main(rounds: int) -> bool:
    whole = json.loads(demo_text("van"))
    body, sure = (json.dumps({**whole, "interval": wanted}).encode() for wanted in (False, True))
    assert core.at_hand() is not None, "the compiled core cannot be had"
    parts = InProcess(body)
    parts()
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder)
        with Service(scratch / "log") as service:
            service.wait_until_ready(compiled=True)
            status, content = ask(service.port, "POST", PATH, body)
            assert status == 200, content
            with echoing(content, scratch) as port:
                asked, echoed = Asker(service.port, body), Asker(port.number, body)
                assert asked() == content == echoed() == parts.content
                works = {"echo": echoed, "service": asked, "parts": parts}
                works["interval"] = Asker(service.port, sure)
                (worker,) = service.workers()
                found, there = measure(works, rounds, {"echo": port.pid, "service": worker})
                return report(found, there, parts.spent)


if __name__ == "__main__":
    if sys.argv[1:2] == ["echo"]:
        echo(int(sys.argv[2]), Path(sys.argv[3]))
    else:
        sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else ROUNDS) else 1)
