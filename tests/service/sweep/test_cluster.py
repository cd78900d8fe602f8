"""``warmbranch sweep --scheduler``: a cluster on this machine gives the same bytes."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from threading import Event

import pytest
from starlette.testclient import TestClient

from warmbranch_service.command import cli
from warmbranch_service.http.app import create_app
from warmbranch_service.http.settings import Settings
from warmbranch_service.sweep import cluster

PATIENCE = 120  # seconds; a start takes a few on a quiet machine
CHUNKS = 24

SWEEP = """
import os, sys, time
from warmbranch_service.command.cli import main
from warmbranch_service.command.under_way import Bar
own = Bar.update

def update(bar, more):
    own(bar, more)
    while bar.n > 12 * 512 and not os.path.exists(sys.argv[-1]):
        time.sleep(0.01)

Bar.update = update
raise SystemExit(main(["sweep", *sys.argv[1:-1]]))
"""
"""Of 24 chunks it takes the last 12 once there is a file, which the last argument names."""

DASK = [sys.executable, "-m", "dask"]


def wait_until(condition, process=None):
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        assert process is None or process.poll() is None, process.communicate()
        if condition():
            return
        time.sleep(0.01)
    raise AssertionError("waited in vain")


@contextmanager
def running(*command, **more):
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    with subprocess.Popen([*DASK, *command], **{**quiet, **more}) as process:
        try:
            yield process
        finally:
            process.kill()


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """Address of a scheduler on this machine."""
    told = tmp_path_factory.mktemp("dask") / "scheduler.json"
    options = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--no-show"]
    with running("scheduler", *options, "--scheduler-file", str(told)) as process:
        wait_until(lambda: told.exists() and told.read_text().endswith("}"), process)
        yield json.loads(told.read_text())["address"]


@contextmanager
def worker(scheduler, **more):
    """A worker that nobody starts again, once the scheduler knows it."""
    options = ["--no-nanny", "--nthreads", "1", "--no-dashboard", "--memory-limit", "0"]
    with (
        tempfile.NamedTemporaryFile() as log,
        running("worker", scheduler, *options, stderr=log, **more) as process,
    ):
        wait_until(lambda: b"Registered to" in Path(log.name).read_bytes(), process)
        yield process


@pytest.fixture
def request_file(tmp_path, sobol):
    sobol["sampling"]["count"] = CHUNKS * 512 - 100
    path = tmp_path / "many.json"
    path.write_text(json.dumps(sobol), encoding="utf-8")
    return path


def test_no_worker_for_long_is_said(scheduler, request_file, monkeypatch, capfd):
    monkeypatch.setattr(cluster, "WITHOUT_WORKERS_SECONDS", 1.0)
    assert cli.main(["sweep", str(request_file), "--scheduler", scheduler]) == 1
    said = capfd.readouterr().err
    assert f"has had no worker for 1 s. Start some, dask worker {scheduler}" in said
    assert "0 of 12188 designs are written" in said


@pytest.mark.slow
def test_lost_worker_loses_nothing_and_doubles_nothing(scheduler, request_file, tmp_path):
    """Two workers, one of which is killed in the middle."""
    path, alone, go_on = (tmp_path / name for name in ("cluster.ndjson", "alone.ndjson", "go_on"))
    with worker(scheduler) as first, worker(scheduler):
        asked = [str(request_file), "--output", str(path), "--scheduler", scheduler, str(go_on)]
        command = [sys.executable, "-c", SWEEP, *asked]
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
            wait_until(lambda: path.exists() and path.stat().st_size > 200_000, process)
            first.send_signal(signal.SIGKILL)
            first.wait()
            go_on.touch()
            _, said = process.communicate(timeout=PATIENCE)
    assert process.returncode == 0, said
    assert said == ""
    assert cli.main(["sweep", str(request_file), "--output", str(alone)]) == 0
    assert path.read_bytes() == alone.read_bytes()


def test_service_with_a_scheduler_gives_the_same_bytes(scheduler, client, sobol):
    expected = client.post("/v1/sweep", json=sobol).content
    settings = Settings(warm_up=0, seconds_per_request=600, scheduler=scheduler)
    with worker(scheduler), TestClient(create_app(settings)) as with_cluster:
        assert with_cluster.post("/v1/sweep", json=sobol).content == expected


def test_worker_that_would_make_other_bytes_is_refused(scheduler, request_file, capfd):
    with worker(scheduler, env={**os.environ, "WARMBRANCH_KERNEL": "off"}):
        assert cli.main(["sweep", str(request_file), "--scheduler", scheduler]) == 1
    said = " ".join(capfd.readouterr().err.split())
    assert "A worker is not as this program is: {'model_version': " in said
    assert "set WARMBRANCH_KERNEL alike" in said


def test_scheduler_that_is_not_there(request_file, monkeypatch, capfd):
    monkeypatch.setattr(cluster, "CONNECT_SECONDS", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as found:
        port = found.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    assert cli.main(["sweep", str(request_file), "--scheduler", address]) == 1
    said = capfd.readouterr().err
    assert f"The scheduler at {address} cannot be reached" in said
    assert "Traceback" not in said


def test_without_dask(request_file, monkeypatch, capfd):
    monkeypatch.setitem(sys.modules, "distributed", None)
    monkeypatch.setenv("WARMBRANCH_SCHEDULER", "tcp://127.0.0.1:8786")
    assert cli.main(["sweep", str(request_file)]) == 1
    assert "pip install 'warmbranch[cluster]'" in capfd.readouterr().err


def test_addresses_that_are_none(request_file, monkeypatch, capfd):
    assert cli.main(["sweep", str(request_file), "--scheduler", "desk"]) == 2
    assert "give an address as tcp://host:8786" in capfd.readouterr().err
    monkeypatch.setenv("WARMBRANCH_SCHEDULER", "desk")
    assert cli.main(["sweep", str(request_file)]) == 2
    assert "WARMBRANCH_SCHEDULER='desk': give an address" in capfd.readouterr().err


class Future:
    def __init__(self, work):
        self.work = work

    def done(self):
        return True

    def add_done_callback(self, tell):
        tell(self)


class Client:
    """Stands in for a cluster's client: solves at once, and counts what it holds."""

    status = "running"

    def __init__(self, threads):
        self.threads, self.held, self.most, self.fetched = threads, 0, 0, []

    def nthreads(self):
        return {"tcp://worker": self.threads}

    def submit(self, function, tasks, maker, key):
        self.held += 1
        self.most = max(self.most, self.held)
        return Future(tasks)

    def gather(self, futures):
        self.held -= len(futures)
        self.fetched.append(len(futures))
        return [tuple(task.number for task in future.work) for future in futures]


def test_no_more_is_handed_out_than_keeps_the_workers_busy(sobol, monkeypatch):
    """10^9 designs in two million chunks; the first thousands of them, of a cluster that is
    quicker than whoever asks: neither tasks nor results pile up."""
    from warmbranch_service.sweep.plan import Plan
    from warmbranch_service.sweep.request import SweepRequest

    sobol["sampling"]["count"] = 10**9
    plan = Plan(SweepRequest.model_validate(sobol))
    monkeypatch.setattr(Plan, "task", lambda self, number: Task(number))
    executor, client = cluster.Cluster("tcp://nowhere:1"), Client(threads=100)
    executor._client = client
    chunks = executor.solved(plan, range(plan.chunks))
    assert [next(chunks) for _ in range(5000)] == list(range(5000))
    assert client.most <= cluster.TASKS_A_THREAD * 100
    assert max(client.fetched) <= cluster.MOST_GATHERED
    client.cancel = lambda *_, **__: None
    chunks.close()


class Lost(Client):
    """One whose scheduler goes away: it raises, or never answers again."""

    def __init__(self, *, says: str):
        super().__init__(threads=1)
        self.says, self.closed = says, Event()

    def submit(self, function, tasks, maker, key):
        if self.says == "nothing":
            self.status = "connecting"
            return Silent(tasks)
        return super().submit(function, tasks, maker, key)

    def gather(self, futures):
        self.status = "closed"
        raise asyncio.CancelledError("lost dependencies")

    def close(self, timeout):
        self.closed.set()


class Silent(Future):
    def add_done_callback(self, tell):
        pass


@pytest.mark.parametrize("says", ["cancelled", "nothing"])
def test_a_lost_scheduler_is_503_and_forgotten(client, sobol, monkeypatch, says):
    monkeypatch.setattr(cluster, "LOST_SECONDS", 0.3)
    expected = client.post("/v1/sweep", json=sobol).content
    lost = Lost(says=says)
    found = [lost, Client(threads=1)]
    found[1].gather = lambda futures: [cluster.solve_tasks(f.work, cluster.Maker.here())
                                       for f in futures]  # fmt: skip
    monkeypatch.setattr(cluster.Cluster, "_connection", lambda _: found.pop(0))
    settings = Settings(warm_up=0, seconds_per_request=600, scheduler="tcp://127.0.0.1:1")
    with TestClient(create_app(settings)) as service:
        refused = service.post("/v1/sweep", json=sobol)
        assert refused.status_code == 503
        assert refused.json()["type"] == "/v1/problems/no-workers"
        assert int(refused.headers["retry-after"]) >= 1
        assert lost.closed.wait(PATIENCE)
        found[0].close = lambda: None
        assert service.post("/v1/sweep", json=sobol).content == expected


def test_a_cluster_without_workers_is_told_before_the_time_limit(sobol, monkeypatch):
    idle = Client(threads=0)
    idle.submit = lambda _, tasks, *__, **___: Silent(tasks)
    idle.close = idle.cancel = lambda *_, **__: None
    monkeypatch.setattr(cluster.Cluster, "_connection", lambda _: idle)
    monkeypatch.setattr(cluster, "RECOUNT_SECONDS", 0.1)
    settings = Settings(warm_up=0, scheduler="tcp://127.0.0.1:1", seconds_per_request=PATIENCE)
    with TestClient(create_app(settings)) as service:
        refused = service.post("/v1/sweep", json=sobol)
    assert refused.status_code == 503
    assert refused.json()["type"] == "/v1/problems/no-workers"


class Task:
    def __init__(self, number):
        self.number = number
