"""Floods and bad luck: no descriptors, nobody reads, a worker hangs, the disk is full, kill -9."""

from __future__ import annotations

import contextlib
import http.client
import json
import logging
import os
import resource
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator

import psutil
import pytest

from shared.requests import GAS, sweep_of, uniform
from shared.running import GIVE_UP, QUICK, START_SECONDS, Service, ask, free_port, until
from shared.served import Line, Served
from warmbranch_service.demo import demo_text
from warmbranch_service.http.passage.metrics_folder import PREFIX
from warmbranch_service.http.settings import Settings
from warmbranch_service.serving import supervisor
from warmbranch_service.serving.worker_process import HUNG_SECONDS

BODY = demo_text("van").encode()

SWEEP = json.dumps(
    sweep_of(json.loads(BODY), uniform(GAS, 250, 450), count=50_000, seed=1)
    | {"transmission_loss_at_Hz": [*range(50, 150)]}
).encode()


def post(path: str, body: bytes) -> bytes:
    return (
        f"POST {path} HTTP/1.1\r\nHost: here\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    ).encode() + body


class Limited(Served):
    """With a limit of descriptors, soft and hard."""

    def __init__(self, descriptors: int, **settings: object) -> None:
        kept = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (descriptors, kept[1]))
        try:
            super().__init__(**settings)  # it raises its own limit, as far as the hard one
            for process in (psutil.Process(self.supervisor), self.worker()):
                process.rlimit(psutil.RLIMIT_NOFILE, (descriptors, descriptors))
        finally:
            resource.setrlimit(resource.RLIMIT_NOFILE, kept)

    def worker(self) -> psutil.Process:
        (worker,) = psutil.Process(self.supervisor).children()
        return worker


@pytest.mark.slow
def test_the_soft_limit_of_descriptors_is_raised():
    _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = 65_536 if hard == resource.RLIM_INFINITY else min(65_536, hard)
    kept = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (64, kept[1]))
    try:
        with Served(warm_up=0, kernel="off") as served:
            (worker,) = psutil.Process(served.supervisor).children()
            assert worker.rlimit(psutil.RLIMIT_NOFILE)[0] >= min(wanted, kept[1])
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, kept)


@pytest.mark.slow
def test_with_64_descriptors_a_crowd_that_never_reads_costs_no_log_and_no_core():
    """Descriptors run out behind its back: what it admits was reckoned with more."""
    with Limited(64, warm_up=0, kernel="off", seconds_to_read=3) as served:
        with crowd(served.port, 70) as lines:
            for line in lines:
                line.send(post("/v1/sweep", SWEEP))
            time.sleep(1)
            told = len(served.log)
            time.sleep(3)
            assert len(served.log) - told < 100_000
            until(lambda: healthy(served))
        until(lambda: healthy(served))
        assert served.log.count("no connection can be taken") <= 5  # one a minute
        until(lambda: served.worker().cpu_percent(0.5) < 30)


@contextlib.contextmanager
def crowd(port: int, size: int) -> Iterator[list[Line]]:
    with contextlib.ExitStack() as stack:
        yield [stack.enter_context(Line(port)) for _ in range(size)]


def healthy(served: Served) -> bool:
    try:
        return served.get("/v1/health") == 200
    except (OSError, http.client.HTTPException):
        return False


@pytest.mark.slow
def test_idle_connections_give_way_to_new_ones():
    settings = {"warm_up": 0, "kernel": "off", "connections": 8}
    with Served(**settings, seconds_to_send=600) as served, crowd(served.port, 30):
        for _ in range(5):
            assert served.get("/v1/health") == 200
        assert 1 <= served.log.count("connections are held") <= 5  # one a minute


@pytest.mark.slow
def test_who_does_not_read_is_cut_off_and_gives_back_the_place():
    with Served(warm_up=0, seconds_to_read=2) as served, Line(served.port) as line:
        line.send(post("/v1/sweep", SWEEP))  # some hundred megabytes
        until(lambda: "is not read" in served.log)
        until(lambda: b"\nwarmbranch_working 0.0" in metrics(served))
        assert "Traceback" not in served.log


def metrics(served: Served) -> bytes:
    return ask(served.port, "GET", "/v1/metrics")[1]


@pytest.mark.slow
def test_a_slow_reader_is_not_cut_off():
    with (
        Served(warm_up=0, seconds_to_read=3) as served,
        Line(served.port, timeout=GIVE_UP) as line,
    ):
        line.send(post("/v1/sweep", SWEEP.replace(b"50000", b"4096")))
        line.socket.recv(1)
        end = b""
        while b'"complete":true' not in end:
            time.sleep(0.05)  # a megabyte or two a second, less than what is made
            end = end[-100:] + line.socket.recv(100_000)
        assert "is not read" not in served.log


SHORTENED = """
import sys
from warmbranch_service.serving import worker_process
worker_process.HUNG_SECONDS = 3.0
from warmbranch_service.command.cli import main
sys.exit(main())
"""


STUCK = """
import sys, time
from warmbranch_service.serving.worker_process import Worker
Worker.wait = lambda self, seconds: time.sleep(600)
from warmbranch_service.command.cli import main
sys.exit(main())
"""


class Stuck(Service):
    """With a supervisor that waits for ever when it closes."""

    def start(self) -> None:
        self._command = [sys.executable, "-c", STUCK, *self._command[3:]]
        super().start()


def test_a_supervisor_that_waits_for_ever_ends_and_leaves_nothing(tmp_path):
    kept = {"TMPDIR": str(tmp_path), "WARMBRANCH_GRACE_SECONDS": "1"}
    with Stuck(tmp_path / "log", workers=1, **QUICK, **kept) as service:
        service.wait_until_ready()
        (worker,) = service.workers()
        os.kill(worker, signal.SIGSTOP)
        assert service.stop() == 1
        until(lambda: not psutil.pid_exists(worker))
        assert "does not close in time" in service.log.read_text()
        assert not list(tmp_path.glob(PREFIX + "*"))
        service.start()  # for the end of the block


def test_a_worker_that_was_stopped_does_not_hold_up_the_end(tmp_path):
    with Service(tmp_path / "log", workers=2, WARMBRANCH_GRACE_SECONDS="1", **QUICK) as service:
        service.wait_until_ready()
        stopped = service.workers()[0]
        os.kill(stopped, signal.SIGSTOP)
        assert service.stop() == 0
        assert not psutil.pid_exists(stopped)
        assert f"worker {stopped} does not end and is killed" in service.log.read_text()
        service.start()  # for the end of the block


class Impatient(Service):
    """With a shorter time for a worker that hangs."""

    def start(self) -> None:
        self._command = [sys.executable, "-c", SHORTENED, *self._command[3:]]
        super().start()


@pytest.mark.slow
def test_a_worker_that_hangs_is_replaced(tmp_path):
    assert HUNG_SECONDS <= 30  # as is promised
    with Impatient(tmp_path / "log", workers=2, **QUICK) as service:
        # Ready by its own count comes before the supervisor hears so; one that stops in between is
        # taken for one that does not start, which has a longer time.
        until(lambda: "all workers serve" in service.log.read_text())
        victim = service.workers()[0]
        os.kill(victim, signal.SIGSTOP)
        until(lambda: victim not in service.workers())
        service.wait_for("ready_workers", 2)
        assert f"worker {victim} hangs" in service.log.read_text()


@pytest.mark.slow
def test_a_worker_that_dies_during_a_renewal_is_missed_at_once(tmp_path):
    """The old worker takes its time; meanwhile the new one is killed."""
    with Service(tmp_path / "log", workers=1, WARMBRANCH_GRACE_SECONDS="100", **QUICK) as service:
        service.wait_until_ready()
        (old,) = service.workers()
        with Line(service.port) as line:
            line.send(post("/v1/sweep", SWEEP))  # holds the worker for its grace time
            line.socket.recv(1)
            service.tell(signal.SIGHUP)
            until(lambda: "has taken over" in service.log.read_text())
            (new,) = {*service.workers()} - {old}
            os.kill(new, signal.SIGKILL)
            until(lambda: f"worker {new} has died by SIGKILL" in service.log.read_text())
            assert old in service.workers()


@pytest.mark.slow
def test_the_end_comes_within_the_ten_seconds_of_a_container(tmp_path):
    with Service(tmp_path / "log", workers=2, **QUICK) as service:
        service.wait_until_ready()
        with crowd(service.port, 6) as lines:
            for line in lines:
                line.send(post("/v1/sweep", SWEEP))
            lines[0].socket.recv(1)
            # By an alarm of the kernel's at the latest, after which its status would be 1.
            assert Settings().grace_seconds + supervisor.LAST_RESORT <= 10
            assert service.stop() == 0
        service.start()  # for the end of the block


@pytest.mark.slow
def test_kill_9_of_the_supervisor_leaves_nothing(tmp_path):
    kept = {"TMPDIR": str(tmp_path)}
    service = Service(tmp_path / "log", workers=2, **QUICK, **kept)
    service.start()
    service.wait_until_ready()
    workers = service.workers()
    assert list(tmp_path.glob(PREFIX + "*"))
    service.process.kill()
    service.process.wait()
    until(lambda: not any(psutil.pid_exists(pid) for pid in workers))
    assert not list(tmp_path.glob(PREFIX + "*"))
    # All at once, and what is left is a folder that the next start removes.
    stale = tmp_path / f"{PREFIX}stale"
    stale.mkdir()
    (stale / "owner").touch()
    with Service(tmp_path / "log", workers=1, **QUICK, **kept) as service:
        service.wait_until_ready()
        assert not stale.exists()


@pytest.mark.slow
def test_keys_of_a_file_come_and_go_with_sighup(tmp_path):
    old, new = "a-key-of-the-old-days", "a-key-of-the-new-days"
    keys = tmp_path / "keys"
    keys.write_text(f"# of the bench\n{old}\n\n")
    settings = {**QUICK, "WARMBRANCH_API_KEYS_FILE": str(keys)}
    with Service(tmp_path / "log", workers=1, **settings) as service:
        service.wait_until_ready()

        def status(key: str) -> int:
            with Line(service.port) as line:
                head = f"GET /v1/reference HTTP/1.1\r\nHost: a\r\nX-API-Key: {key}\r\n"
                line.send(head.encode() + b"Connection: close\r\n\r\n")
                return int(line.rest()[9:12])

        def renewed(times: int) -> None:
            service.tell(signal.SIGHUP)
            until(lambda: service.log.read_text().count("no old one is left") == times)

        assert (status(old), status(new)) == (200, 401)
        keys.write_text(new)
        renewed(1)
        assert (status(old), status(new)) == (401, 200)
        keys.write_text("# none\n")
        renewed(2)
        assert (status(old), status(new)) == (401, 401)
        keys.write_text("short")  # is told, and the old workers serve on
        service.tell(signal.SIGHUP)
        until(lambda: "does not start; the old ones serve on" in service.log.read_text())
        assert status(new) == 401
    keys.unlink()
    refused = subprocess.run(
        [sys.executable, "-m", "warmbranch_service", "serve", "--port", "0"],
        env={**os.environ, **settings},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert refused.returncode == 2
    assert "WARMBRANCH_API_KEYS_FILE" in refused.stderr
    assert "cannot be read" in refused.stderr


@pytest.mark.parametrize(
    ("host", "keys", "said"),
    [
        ("0.0.0.0", {}, "asks for no key"),
        ("::", {}, "asks for no key"),
        ("127.0.0.1", {"WARMBRANCH_API_KEYS": " , "}, "holds no key: everybody is let in"),
        ("127.0.0.1", {"WARMBRANCH_API_KEYS_FILE": "/dev/null"}, "holds no key: nobody is let in"),
        ("0.0.0.0", {"WARMBRANCH_API_KEYS": "a-key-that-is-long"}, None),
        ("localhost", {}, None),
        ("::1", {}, None),
    ],
)
def test_what_may_not_be_meant_is_told_at_the_start(monkeypatch, caplog, host, keys, said):
    for name, value in keys.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(logging.getLogger("warmbranch"), "propagate", True)
    supervisor._warn(host, Settings.from_environment())
    assert [said in entry.getMessage() for entry in caplog.records] == [True] * (said is not None)


@pytest.mark.slow
@pytest.mark.long
@pytest.mark.timeout(3600)  # a hundred starts of two seconds of processor each
def test_a_hundred_restarts_under_load_lose_nothing(tmp_path):
    """Each takes over the one queue of connections; every request is a connection of its own.

    Four start at once, since most of a start is an interpreter's; then the four before them end.
    """
    lost: list[str] = []
    answered = 0
    stop = threading.Event()
    port = free_port()

    def ask_on() -> None:
        nonlocal answered
        while not stop.wait(0.002):
            try:
                status = ask(port, "GET", "/v1/health")[0]
            except (OSError, http.client.HTTPException) as error:
                lost.append(repr(error))
            else:
                answered += status == 200
                lost.extend([str(status)] * (status != 200))

    with contextlib.ExitStack() as stack:

        def started(*names: str) -> list[Service]:
            begun = [
                stack.enter_context(Service(tmp_path / name, "--take-over", port=port, **QUICK))
                for name in names
            ]
            for log in [service.log for service in begun]:
                until(lambda log=log: "all workers serve" in log.read_text(), START_SECONDS)
            return begun

        now = started("first")
        for _ in range(2):
            thread = threading.Thread(target=ask_on)
            thread.start()
            stack.callback(thread.join)
        stack.callback(stop.set)
        for turn in range(25):
            before, now = now, started(*(f"{turn}.{place}" for place in range(4)))
            for service in before:
                assert service.stop() == 0
            assert lost == [], f"after {4 * turn + 1} restarts"
    assert answered > 100
