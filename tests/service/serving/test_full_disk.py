"""A disk that is full where the metrics are counted: a small one, of the service's own."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from shared.running import QUICK, Service, ask, until
from warmbranch_service.demo import demo_text

BODY = demo_text("van").encode()
SPACE = ["unshare", "--user", "--map-root-user", "--mount"]
MOUNT = 'mount -t tmpfs -o size="$ROOM" none "$TMPDIR" && exec "$@"'


def can_mount(folder: Path) -> bool:
    if not sys.platform.startswith("linux") or shutil.which("unshare") is None:
        return False
    given = {**os.environ, "ROOM": "64k", "TMPDIR": str(folder)}
    tried = [*SPACE, "sh", "-c", MOUNT, "sh", "true"]
    return subprocess.run(tried, env=given, capture_output=True, timeout=60).returncode == 0


class Small(Service):
    """Its folder for files is a disk of so many bytes that it alone sees."""

    def __init__(self, folder: Path, room: str, **settings: str) -> None:
        self._folder = folder / "small"
        self._folder.mkdir()
        if not can_mount(self._folder):
            pytest.skip("no disk of one's own can be had here")
        given = {**QUICK, "ROOM": room, "TMPDIR": str(self._folder), **settings}
        super().__init__(folder / "log", workers=1, **given)

    def start(self) -> None:
        self._command = [*SPACE, "sh", "-c", MOUNT, "sh", *self._command]
        super().start()

    def fill(self) -> None:
        """Leave no byte."""
        inside = Path(f"/proc/{self.process.pid}/root{self._folder}")
        assert list(inside.glob("*metrics*"))
        with contextlib.suppress(OSError), (inside / "more").open("wb", buffering=0) as more:
            while more.write(b"\0" * 4096):
                pass
        room = os.statvfs(inside)
        assert room.f_bavail == 0


def statuses(service: Service) -> list[int]:
    """Of requests of many kinds, each a series of its own in the metrics."""
    asked = [
        ("POST", "/v1/steady", BODY),
        ("POST", "/v1/steady", b"{"),
        ("POST", "/v1/fit", b"{}"),
        ("POST", "/v1/length", b"{}"),
        ("GET", "/v1/reference", None),
        ("GET", "/v1/problems/no", None),
        ("GET", "/v1/steady", None),
    ]
    return [ask(service.port, *one)[0] for one in asked]


SERVED = [200, 400, 422, 422, 200, 404, 405]


def test_a_disk_without_room_from_the_first_is_told_and_served_through(tmp_path):
    with Small(tmp_path, "64k") as service:
        service.wait_until_ready()
        assert statuses(service) == SERVED
        assert "counts for itself alone" in service.log.read_text()
        assert service.number("ready_workers") == 1


def test_a_disk_that_fills_while_it_serves_ends_no_worker(tmp_path):
    with Small(tmp_path, "1m") as service:
        service.wait_until_ready()
        (first,) = service.workers()
        service.fill()
        assert statuses(service) == SERVED
        assert service.workers() == [first]
        assert service.number("solves_total") >= 1  # it still counts where it had reserved
        # The next one finds no room, says so, and serves.
        os.kill(first, signal.SIGKILL)
        service.wait_for("ready_workers", 1)
        assert statuses(service) == SERVED
        told = service.log.read_text()
        assert "counts for itself alone" in told
        assert "SIGBUS" not in told


def test_a_full_disk_for_metrics_is_told_and_served_through(tmp_path):
    """Without a disk to fill, the room is refused by a limit of the size of files."""
    if can_mount(tmp_path):
        pytest.skip("a disk of its own was filled above")
    program = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (65536, 65536));"
        "import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "from warmbranch_service.command.cli import main; sys.exit(main())"
    )

    class Full(Service):
        def start(self) -> None:
            self._command = [sys.executable, "-c", program, *self._command[3:]]
            super().start()

    with Full(tmp_path / "log", workers=1, **QUICK) as service:
        until(lambda: "counts for itself alone" in service.log.read_text())
        service.wait_until_ready()
        assert ask(service.port, "POST", "/v1/steady", BODY)[0] == 200
        assert service.number("ready_workers") == 1


def test_a_home_and_a_folder_for_files_that_cannot_be_written(tmp_path):
    for name in ("home", "tmp"):
        (tmp_path / name).mkdir()
        (tmp_path / name).chmod(0o500)
    nowhere = {"HOME": str(tmp_path / "home"), "TMPDIR": "/proc/nowhere"}
    with Service(tmp_path / "log", workers=1, **QUICK, **nowhere) as service:
        service.wait_until_ready()
        assert ask(service.port, "POST", "/v1/steady", BODY)[0] == 200
