"""What a request makes the event loop's thread do in one go, while everybody else waits.

    python tests/benchmarks/bench_loop.py [words of names]

The service runs in this process; each turn of its loop is timed by the processor time of the
loop's own thread, so that neither other processes nor the solver's threads count. Each request is
meant to be as dear as its kind can be. Promised: no turn takes longer than 20 ms.

``late`` is how late the loop turned at worst, whatever for: less what it worked, and less what it
waited for a core (Linux counts that), it waited for Python's lock, which a solver's thread held.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]  # the latter: shared

from load_service import BODY, hostile, posted, sweep_request

from warmbranch_service.http.app import create_app
from warmbranch_service.http.settings import Settings
from warmbranch_service.serving.server import Server
from warmbranch_service.serving.worker import SWITCH_SECONDS, _Loaded, configuration

PROMISED = 0.020
"""s of the processor in one turn."""

EVERY = 0.005
"""s between two looks at how late the loop turns."""

ENOUGH = 4 * 2**20
"""Bytes of an answer that are read."""

GIVE_UP = 30.0


class Worst:
    """The longest turn, the latest look and the longest wait for the lock, s, since ``clear``."""

    def __init__(self) -> None:
        self.clear()
        own = asyncio.Handle._run

        def run(handle: Any) -> None:
            begun = time.thread_time()
            own(handle)
            if threading.current_thread().name == "loop":
                self.turn = max(self.turn, time.thread_time() - begun)

        asyncio.Handle._run = run  # type: ignore[method-assign]

    def clear(self) -> None:
        self.turn = self.late = self.locked = 0.0

    def watch(self) -> None:
        """Called in the loop's thread, and from there on by itself."""
        loop, counts = asyncio.get_running_loop(), Path("/proc/thread-self/schedstat")

        def look() -> tuple[float, float]:
            worked, waited, _ = map(int, counts.read_text().split())
            return loop.time(), (worked + waited) / 1e9

        def next_one(before: tuple[float, float]) -> None:
            now = look()
            late = now[0] - before[0] - EVERY
            self.late = max(self.late, late)
            self.locked = max(self.locked, late - (now[1] - before[1]))
            loop.call_later(EVERY, next_one, now)

        loop.call_soon(next_one, look())


class Here(Server):
    """In a thread of this process, which gets no signals."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def serve(listener: socket.socket, worst: Worst) -> None:
    loaded = _Loaded()

    def started() -> None:
        loaded.leave_alone()
        worst.watch()

    made = configuration(Settings(), create_app)
    made.loop = "asyncio"  # whose turns can be timed; what is called in them is the same
    server = Here(made, grace=1, started=started, beat=loaded.leave_alone)
    asyncio.run(server.serve([listener]))


def sent(port: int, content: bytes) -> bytes:
    """The status that comes back."""
    with socket.create_connection(("127.0.0.1", port), timeout=GIVE_UP) as line:
        writer = threading.Thread(target=_send, args=(line, content))
        writer.start()
        status, count = b"", 0
        with contextlib.suppress(OSError):
            while count < ENOUGH and (part := line.recv(1 << 20)):
                status, count = status or part[9:12], count + len(part)
        line.close()
        writer.join()
    return status or b"---"


def _send(line: socket.socket, content: bytes) -> None:
    with contextlib.suppress(OSError):
        line.sendall(content)


def got(path: str, header: str = "x: y") -> bytes:
    return f"GET {path} HTTP/1.1\r\nhost: a\r\nconnection: close\r\n{header}\r\n\r\n".encode()


def with_header(header: str) -> bytes:
    return posted("/v1/steady", BODY).replace(b"\r\n\r\n", f"\r\n{header}\r\n\r\n".encode(), 1)


def filled(before: str, unit: str, after: str, size: int) -> bytes:
    many = (size - len(before) - len(after)) // (len(unit) + 1)
    return (before + ",".join([unit] * many) + after).encode()


def recording(content: bytes) -> bytes:
    body = b'--x\r\nContent-Disposition: form-data; name="after"; filename="a"\r\n\r\n'
    body += content + b"\r\n--x--\r\n"
    declared = b"content-type: multipart/form-data; boundary=x"
    return posted("/v1/listen", body).replace(b"content-type: application/json", declared)


def requests() -> Iterator[tuple[str, bytes]]:
    """Names and bytes."""
    yield "a question", posted("/v1/steady", BODY)
    yield "a sweep of 1,024", posted("/v1/sweep", sweep_request(1024))
    yield "the page", got("/page/all.js", "accept-encoding: gzip")
    yield "the API's documentation", got("/v1/docs/swagger-ui-bundle.js")
    for name, path, body in hostile():
        yield name, posted(path, body)
    few, many = 8 * 1024, 1_000_000
    for route, before, after in (
        ("/v1/fit", '{"readings":[', "]}"),
        ("/v1/learn", '{"jobs":[', "]}"),
        ("/v1/warmup", '{"drive":[', "]}"),
    ):
        for size in (few, many):
            body = filled(before, "{}", after, size)
            yield f"{route}, {len(body) // 1024} KiB of nothing", posted(route, body)
    yield "a megabyte in one string", posted("/v1/steady", b'"' + b"x" * many + b'"')
    yield "a megabyte that is no UTF-8", posted("/v1/steady", b'"' + b"\xff" * many)
    yield "15,000 headers", with_header("a:\r\n" * 15_000 + "b: c")
    yield "Accept of 60 kB", with_header("accept: " + "a/b," * 15_000)
    declared = b"content-type: a" + b";" * 60_000
    body = posted("/v1/steady", BODY).replace(b"content-type: application/json", declared)
    yield "Content-Type of 60 kB", body
    yield "If-None-Match of 60 kB", got("/v1/openapi.json", "if-none-match: " + '"",' * 20_000)
    yield "an address of 60 kB", got("/" + "%41" * 20_000)
    yield "10,000 parameters", got("/v1/ask/steady?" + "&".join(f"a{i}" for i in range(10_000)))
    head = posted("/v1/steady", b"").replace(b"content-length: 0", b"transfer-encoding: chunked")
    yield "a body in crumbs", head + b"1\r\n \r\n" * 150_000 + b"0\r\n\r\n"
    yield "6,000 one behind the other", b"GET /v1/health HTTP/1.1\r\nhost: a\r\n\r\n" * 6000
    yield "a recording of 60 MB", recording(b"a" * 60_000_000)
    yield "60 MB that all but end", recording(b"\r\n--" * 15_000_000)


def main(words: list[str]) -> bool:
    sys.setswitchinterval(SWITCH_SECONDS)
    worst, listener = Worst(), socket.create_server(("127.0.0.1", 0))
    threading.Thread(target=serve, args=(listener, worst), name="loop", daemon=True).start()
    port = listener.getsockname()[1]
    while sent(port, got("/v1/ready")) != b"200":
        time.sleep(0.1)
    held = True
    print("| asked | status | longest turn, ms | late, ms | of it for Python's lock | |")
    print("| --- | --- | ---: | ---: | ---: | --- |")
    for name, content in requests():
        if words and not any(word in name for word in words):
            continue
        worst.clear()
        status = sent(port, content).decode()
        time.sleep(2 * EVERY)
        fine = worst.turn <= PROMISED
        held = held and fine
        told = f"{worst.turn * 1e3:.1f} | {worst.late * 1e3:.0f} | {worst.locked * 1e3:.0f}"
        print(f"| {name} | {status} | {told} | {'held' if fine else 'MISSED'} |", flush=True)
    return held


if __name__ == "__main__":
    sys.exit(0 if main(sys.argv[1:]) else 1)
