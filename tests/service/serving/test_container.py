"""What a container is for the service: it is process 1, memory is short, the clock is set."""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

from shared.readings import contact
from shared.requests import GAS, sweep_of, uniform
from shared.running import GIVE_UP, START_SECONDS, Service, ask
from warmbranch_service.demo import demo_text

ROOT = Path(__file__).parents[3]
BODY = demo_text("van").encode()
QUICK = {"WARMBRANCH_WARM_UP": "0", "WARMBRANCH_KERNEL": "off"}

SPACE = ["unshare", "--user", "--map-root-user", "--pid", "--fork", "--kill-child", "--mount-proc"]
"""A space of process numbers of its own, as containers have."""

WITH_AN_ORPHAN = """
import os, subprocess, sys
assert os.getpid() == 1
subprocess.run(["sh", "-c", "sleep 2 & echo"], stdout=subprocess.DEVNULL)  # an orphan
from warmbranch_service.command.cli import main
sys.exit(main())
"""


def can_be_first() -> bool:
    if not sys.platform.startswith("linux") or shutil.which("unshare") is None:
        return False
    return subprocess.run([*SPACE, "true"], capture_output=True, timeout=60).returncode == 0


class First(Service):
    """Process 1 of its space, with an orphan from before."""

    def start(self) -> None:
        self._command = [*SPACE, sys.executable, "-c", WITH_AN_ORPHAN, *self._command[3:]]
        super().start()

    @property
    def first(self) -> psutil.Process:
        (process,) = psutil.Process(self.process.pid).children()
        return process


def test_process_1_lets_orphans_go_and_ends_when_told(tmp_path):
    if not can_be_first():
        pytest.skip("no space of process numbers can be had here")
    with First(tmp_path / "log", workers=1, **QUICK) as service:
        service.wait_until_ready()
        first = service.first
        names = {child.name() for child in first.children()}
        deadline = time.monotonic() + START_SECONDS
        while names & {"sleep"} or any(
            child.status() == psutil.STATUS_ZOMBIE for child in first.children()
        ):
            assert time.monotonic() < deadline, first.children()
            time.sleep(0.1)
            names = {child.name() for child in first.children()}
        assert ask(service.port, "POST", "/v1/steady", BODY)[0] == 200
        first.send_signal(signal.SIGTERM)
        assert service.process.wait(GIVE_UP) == 0


LITTLE = 512 * 2**20
READINGS = [contact(120, 152.4), contact(450, 77.9)]


WITH_LITTLE = f"""
import resource, sys
resource.setrlimit(resource.RLIMIT_DATA, ({LITTLE}, {LITTLE}))
from warmbranch_service.command.cli import main
sys.exit(main())
"""


class Little(Service):
    """With so much memory that is its own, for each of its processes.

    It limits itself: whoever starts it, a worker of xdist, may hold more by then.
    """

    def start(self) -> None:
        self._command = [sys.executable, "-c", WITH_LITTLE, *self._command[3:]]
        super().start()


@pytest.mark.slow
def test_half_a_gigabyte_is_enough(tmp_path):
    asked = sweep_of(json.loads(BODY), uniform(GAS, 250, 450), count=4096, seed=1)
    sweep = json.dumps(asked).encode()
    with Little(tmp_path / "log", workers=1, OPENBLAS_NUM_THREADS="1") as service:
        service.wait_until_ready()
        (worker,) = service.workers()
        assert psutil.Process(worker).rlimit(psutil.RLIMIT_DATA) == (LITTLE, LITTLE)
        for path, body in (
            ("/v1/steady", BODY),
            ("/v1/sweep", sweep),
            ("/v1/fit", json.dumps({**json.loads(BODY), "readings": READINGS}).encode()),
        ):
            status, answer = ask(service.port, "POST", path, body)
            assert status == 200, (path, answer[:300])
        assert b'"complete":true' in ask(service.port, "POST", "/v1/sweep", sweep)[1][-200:]
        assert service.workers() == [worker]
        assert psutil.Process(worker).memory_info().rss < LITTLE
        assert "MemoryError" not in service.log.read_text()


WALL_CLOCK = re.compile(
    r"\btime\.time(_ns)?\(|\bdatetime\.(utc)?now\(|\bfrom time import .*\btime\b"
)


def test_nothing_goes_by_the_clock_on_the_wall():
    """Which jumps when it is set, or when a machine wakes. All waiting is by another one."""
    sources = [*(ROOT / "service").rglob("*.py"), *(ROOT / "models").rglob("*.py")]
    assert len(sources) > 200
    assert not [path for path in sources if WALL_CLOCK.search(path.read_text(encoding="utf-8"))]
    assert WALL_CLOCK.search("began = time.time()")
