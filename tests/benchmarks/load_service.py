"""The service under load: 64 clients, a killed worker, health, and ten times too many clients.

    python tests/benchmarks/load_service.py [seconds]
    python tests/benchmarks/load_service.py crowd      questions beside sweeps and hostile bodies

Two workers and the invented van. All clients sit in this process and share its cores with the
service, so that times are upper bounds; what counts is what is promised beside them.
"""

from __future__ import annotations

import asyncio
import json
import os
import select
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]  # the latter for shared

from loop_clock import LoopClock

from shared.requests import GAS, sweep_of, uniform
from shared.running import Service, ask, resident_MiB
from warmbranch_service.demo import demo_text

SECONDS = 60.0
CLIENTS = 64
WORKERS = 2
PLACES = WORKERS * (2 + 64)
"""Pieces of work that the service holds as it is set: in each worker two at once and 64 waiting."""

BODY = demo_text("van").encode()
REQUEST = (
    b"POST /v1/steady HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\n"
    b"content-length: %d\r\n\r\n" % len(BODY)
) + BODY


@dataclass
class Tally:
    """What many clients met."""

    seconds: list[float] = field(default_factory=list[float])
    ends: list[float] = field(default_factory=list[float])
    answers: set[bytes] = field(default_factory=set[bytes])
    shed: int = 0
    wrong: list[str] = field(default_factory=list[str])
    lost: int = 0


async def exchange(
    reader: asyncio.StreamReader, writer: asyncio.StreamWriter
) -> tuple[int, bytes, bytes]:
    """One request; status, head and body of its answer."""
    writer.write(REQUEST)
    head = await reader.readuntil(b"\r\n\r\n")
    length = int(head.lower().split(b"content-length: ")[1].split(b"\r\n")[0])
    return int(head[9:12]), head.lower(), await reader.readexactly(length)


async def client(port: int, until: float, tally: Tally) -> None:
    """Post one request after another, on a new connection where the old one breaks."""
    while time.monotonic() < until:
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
        except OSError as error:
            tally.wrong.append(f"not accepted: {error}")
            continue
        try:
            while time.monotonic() < until:
                start = time.perf_counter()
                status, head, body = await exchange(reader, writer)
                if status == 200:
                    tally.seconds.append(time.perf_counter() - start)
                    tally.ends.append(time.monotonic())
                    tally.answers.add(body)
                elif status == 503 and b"retry-after: " in head and b"problem+json" in head:
                    tally.shed += 1
                else:
                    tally.wrong.append(f"{status} {body[:200]!r}")
        except (OSError, asyncio.IncompleteReadError):
            tally.lost += 1
        finally:
            writer.close()


async def crowd(port: int, size: int, seconds: float) -> Tally:
    tally, until = Tally(), time.monotonic() + seconds
    await asyncio.gather(*(client(port, until, tally) for _ in range(size)))
    return tally


class Health:
    """Asks for health ten times a second on new connections, beside the crowd.

    From a process of its own: the crowd's interpreter lock is no business of the service.
    """

    def __init__(self, port: int) -> None:
        self.seconds: list[float] = []
        self._port = port

    def __enter__(self) -> Health:
        command = [sys.executable, __file__, "--health", str(self._port)]
        self._asker = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        return self

    def __exit__(self, *_: object) -> None:
        told, _ = self._asker.communicate()  # closes its input, at which it ends
        self.seconds = [float(line) for line in told.split()]


def ask_for_health(port: int) -> None:
    """Print how long each answer took, s, once standard input ends."""
    found: list[float] = []
    while not select.select([sys.stdin], [], [], 0.1)[0]:
        start = time.perf_counter()
        assert ask(port, "GET", "/v1/health")[0] == 200
        found.append(time.perf_counter() - start)
    print(*found)


def at(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


rows: list[bool] = []


def row(what: str, found: str, promised: str, held: bool) -> None:
    rows.append(held)
    print(f"| {what} | {found} | {promised} | {'held' if held else 'MISSED'} |", flush=True)


def steady_load(service: Service, seconds: float, alone: bytes) -> None:
    before = [resident_MiB(pid) for pid in service.workers()]
    with Health(service.port) as health:
        tally = asyncio.run(crowd(service.port, CLIENTS, seconds))
    after = [resident_MiB(pid) for pid in service.workers()]
    middle, late = statistics.median(tally.seconds), at(tally.seconds, 0.99)
    bad = len(tally.wrong) + tally.lost + tally.shed
    name = f"{CLIENTS} clients, {seconds:g} s, {len(tally.seconds)} answers"
    row(f"{name}: errors, shed or lost", str(bad), "0", bad == 0)
    row("p99 over p50", f"{late * 1e3:.0f}/{middle * 1e3:.0f} ms = {late / middle:.1f}", "< 8",
        late < 8 * middle)  # fmt: skip
    row("answers unlike a single client's", str(len(tally.answers - {alone})), "0",
        tally.answers == {alone})  # fmt: skip
    slow = at(health.seconds, 0.99)
    row("health meanwhile, p50 and p99", f"{statistics.median(health.seconds) * 1e3:.0f} and "
        f"{slow * 1e3:.0f} ms", "p99 < 20 ms", slow < 0.02)  # fmt: skip
    grown = max(b - a for a, b in zip(before, after, strict=True))
    row("memory of a worker, before and after", f"{max(before):.0f} and {max(after):.0f} MiB",
        "grows < 20 MiB", grown < 20)  # fmt: skip


def killed(service: Service) -> None:
    victim, told = service.workers()[0], []

    def kill() -> None:
        told.append(time.monotonic())
        os.kill(victim, signal.SIGKILL)

    timer = threading.Timer(3, kill)
    timer.start()
    tally = asyncio.run(crowd(service.port, CLIENTS, 8))
    back = service.wait_for("ready_workers", WORKERS)
    ends = sorted(end for end in tally.ends if end > told[0])
    gap = max(b - a for a, b in zip([told[0], *ends], ends, strict=False))
    row("kill -9 of a worker: requests it held", str(tally.lost), f"at most {CLIENTS}, no other "
        "error", tally.lost <= CLIENTS and not tally.wrong)  # fmt: skip
    held = gap < 1 and victim not in service.workers()
    row("longest silence then; is it back", f"{gap:.2f} s; {back < 30}", "< 1 s; yes", held)


def overloaded(service: Service, alone: bytes) -> None:
    tally = asyncio.run(crowd(service.port, 10 * PLACES, 10))
    ended, ok = time.monotonic(), 0
    while ok < 5 and time.monotonic() < ended + 10:
        ok = ok + 1 if ask(service.port, "POST", "/v1/steady", BODY) == (200, alone) else 0
    spent = time.monotonic() - ended
    bad = len(tally.wrong) + tally.lost
    row(f"{10 * PLACES} clients that never wait, 10 s: {len(tally.seconds)} answered, "
        f"{tally.shed} shed with Retry-After; other ends", str(bad), "0",
        bad == 0 and tally.shed > 0)  # fmt: skip
    row("five answers in a row thereafter within", f"{spent:.2f} s", "1 s", spent < 1)


def sweep_request(designs: int, client: int = 0) -> bytes:
    """A sweep, with a seed of its own so that no two are one."""
    varied = uniform(GAS, 250, 450)
    return json.dumps(sweep_of(json.loads(BODY), varied, count=designs, seed=client)).encode()


def posted(path: str, body: bytes) -> bytes:
    return (
        f"POST {path} HTTP/1.1\r\nhost: localhost\r\ncontent-type: application/json\r\n"
        f"content-length: {len(body)}\r\nconnection: close\r\n\r\n"
    ).encode() + body


class Sweeps:
    """So many clients that read a sweep each, one behind the other, until the block ends.

    In a process of their own, as ``Health`` is. One that is refused asks again after half a second,
    whatever it is told.
    """

    def __init__(self, port: int, size: int) -> None:
        self._command = [sys.executable, __file__, "--sweeps", str(port), str(size)]
        self.begun = self.refused = self.wrong = 0

    def __enter__(self) -> Sweeps:
        self._asker = subprocess.Popen(self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        return self

    def __exit__(self, *_: object) -> None:
        told, _ = self._asker.communicate()
        self.begun, self.refused, self.wrong = map(int, told.split())


async def read_sweeps(port: int, size: int) -> None:
    """Read until standard input ends; print how many began, were refused, ended otherwise."""
    counts = {"200": 0, "503": 0}
    wrong = 0

    async def read_on(number: int) -> None:
        nonlocal wrong
        request = posted("/v1/sweep", sweep_request(100_000, number))
        while True:
            reader, writer = await asyncio.open_connection("127.0.0.1", port)
            try:
                writer.write(request)
                status = (await reader.read(65536))[9:12].decode()
                wrong += status not in counts
                counts[status] = counts.get(status, 0) + 1
                while await reader.read(1 << 20):
                    pass
            finally:
                writer.close()
            await asyncio.sleep(0.5)

    tasks = [asyncio.create_task(read_on(i)) for i in range(size)]
    await asyncio.to_thread(sys.stdin.read)
    for task in tasks:
        task.cancel()
    print(counts["200"], counts["503"], wrong)


def questions(port: int, seconds: float) -> list[float]:
    """Time that each of a steady client's answers took, s; one that is shed counts as its wait."""
    found: list[float] = []
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        start = time.perf_counter()
        status, _ = ask(port, "POST", "/v1/steady", BODY)
        assert status == 200, status
        found.append(time.perf_counter() - start)
        time.sleep(0.02)
    return found


def chunk_seconds(port: int) -> float:
    """Time of one chunk alone: the median of several sweeps of one."""
    found: list[float] = []
    for number in range(5):
        start = time.perf_counter()
        assert ask(port, "POST", "/v1/sweep", sweep_request(512, number))[0] == 200
        found.append(time.perf_counter() - start)
    return statistics.median(found)


def crowd_and_flood(seconds: float = 8.0) -> bool:
    """One worker: questions beside sweeps, then beside bodies that are a lot to read."""
    with (
        tempfile.TemporaryDirectory() as folder,
        Service(
            Path(folder) / "log", WARMBRANCH_SWEEPS_PER_CLIENT="8", WARMBRANCH_GRACE_SECONDS="2"
        ) as service,
    ):
        service.wait_until_ready()
        (worker,) = service.workers()
        questions(service.port, 2)
        chunk, alone = chunk_seconds(service.port), questions(service.port, seconds)
        middle, late = statistics.median(alone), at(alone, 0.99)
        with Health(service.port) as calm:
            questions(service.port, seconds)
        quiet = at(calm.seconds, 0.99)
        print(f"alone: p50 {middle * 1e3:.1f} ms, p99 {late * 1e3:.1f} ms; a chunk "
              f"{chunk * 1e3:.0f} ms; health, p99 {quiet * 1e3:.0f} ms")  # fmt: skip
        print("bound of p99: 4 times p99 alone, plus a chunk\n")
        print("| beside | p50, of alone | p99, of alone | p99, of its bound | health's p99, of "
              "alone | and in ms | loop late, p99, ms | loop works, waits for a core | sweeps "
              "begun, refused | memory | |")  # fmt: skip
        print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | --- |")
        bound = 4 * late + chunk
        clock = LoopClock(worker, service.port)

        def told(what: str, found: list[float], health: Health, more: str, fine: bool) -> None:
            at_work, waits = clock.shares()
            p99, healthy = at(found, 0.99), at(health.seconds, 0.99)
            held = p99 <= bound and fine
            rows.append(held)
            print(f"| {what} | {statistics.median(found) / middle:.2f} | {p99 / late:.2f} | "
                  f"{p99 / bound:.2f} | {healthy / quiet:.1f} | {healthy * 1e3:.0f} | "
                  f"{clock.late() * 1e3:.0f} | {at_work:.0%}, {waits:.0%} | "
                  f"{more} | "
                  f"{resident_MiB(worker):.0f} MiB | {'held' if held else 'MISSED'} |",
                  flush=True)  # fmt: skip

        for size in (0, 1, 2, 4, 8, 70):
            with Sweeps(service.port, size) as sweeps:
                time.sleep(2)
                clock.start()
                with Health(service.port) as health:
                    found = questions(service.port, seconds)
                clock.stop()
            more = f"{sweeps.begun}, {sweeps.refused}"
            told(f"{size} sweeps", found, health, more, sweeps.wrong == 0)
        for name, path, body in hostile():
            stop = threading.Event()

            def post_on(path: str = path, body: bytes = body, stop: threading.Event = stop) -> None:
                while not stop.is_set():
                    with socket.create_connection(("127.0.0.1", service.port), timeout=60) as line:
                        line.sendall(posted(path, body))
                        while not stop.is_set() and line.recv(1 << 20):
                            pass

            thread = threading.Thread(target=post_on)
            thread.start()
            clock.start()
            with Health(service.port) as health:
                found = questions(service.port, seconds / 2)
            clock.stop()
            stop.set()
            thread.join()
            told(name, found, health, "", True)
    return all(rows)


def hostile() -> Iterator[tuple[str, str, bytes]]:
    """Bodies within the limit of a megabyte that are a lot to read."""
    case = json.loads(BODY)
    strings = [f"{500 + i / 1000:.2f}F" for i in range(90_000)]
    yield ("90,000 strings", "/v1/sweep",
           json.dumps({**case, "vary": [{"field": GAS, "values": strings}]}).encode())  # fmt: skip
    drawn = sweep_of(case, uniform(GAS, 250, 450), count=100_000, method="latin hypercube")
    yield "a hypercube of 100,000", "/v1/sweep", json.dumps(drawn).encode()
    yield "80,000 keys", "/v1/steady", json.dumps({f"k{i}": 1 for i in range(80_000)}).encode()
    yield "500,000 numbers", "/v1/steady", b"[" + b"1," * 500_000 + b"1]"
    yield "100,000 brackets", "/v1/steady", b"[" * 100_000


def main(seconds: float) -> bool:
    with (
        tempfile.TemporaryDirectory() as folder,
        Service(Path(folder) / "log", workers=WORKERS) as service,
    ):
        service.wait_until_ready(compiled=True)
        for _ in range(200):
            status, alone = ask(service.port, "POST", "/v1/steady", BODY)
            assert status == 200
        print("| what | found | promised | |\n| --- | ---: | ---: | --- |")
        steady_load(service, seconds, alone)
        overloaded(service, alone)
        killed(service)
    return all(rows)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--health"]:
        sys.exit(ask_for_health(int(sys.argv[2])))
    if sys.argv[1:2] == ["--sweeps"]:
        sys.exit(asyncio.run(read_sweeps(int(sys.argv[2]), int(sys.argv[3]))))
    if sys.argv[1:2] == ["crowd"]:
        sys.exit(0 if crowd_and_flood() else 1)
    sys.exit(0 if main(float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS) else 1)
