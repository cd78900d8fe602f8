"""Ending ``warmbranch sweep`` by a signal: what is done is kept, the rest can be gone on with."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time

import pyarrow.parquet
import pytest

from warmbranch_service.command import cli
from warmbranch_service.sweep import parquet

PATIENCE = 120  # seconds; a start takes three on a quiet machine

PROGRAM = """
import time
from warmbranch.base import stopping
from warmbranch_service.command.under_way import Bar
from warmbranch_service.sweep import parquet
parquet.DESIGNS_A_GROUP = 1024  # so that some are on disk before the end
own = Bar.update

def update(bar, more):
    own(bar, more)
    while bar.n >= 10 * 512:  # of the 12: it does not end before it is told to
        stopping.check()
        time.sleep(0.01)

Bar.update = update
from warmbranch_service.command.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
"""


@pytest.fixture
def program(tmp_path, sobol, monkeypatch):
    """The command on a request of 12 chunks, of which a signal ends some early."""
    sobol["sampling"]["count"] = 12 * 512
    monkeypatch.setattr(parquet, "DESIGNS_A_GROUP", 1024)  # as in the program
    (tmp_path / "many.json").write_text(json.dumps(sobol), encoding="utf-8")
    (tmp_path / "program.py").write_text(PROGRAM, encoding="utf-8")
    return [sys.executable, str(tmp_path / "program.py"), "sweep", str(tmp_path / "many.json")]


def started(command, **more):
    return subprocess.Popen(
        command,
        stderr=subprocess.PIPE,
        text=True,
        # As at a terminal: a job started in the background inherits that Ctrl-C is ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        **more,
    )


def wait_until(condition, process):
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        assert process.poll() is None, process.communicate()
        if condition():
            return
        time.sleep(0.01)
    raise AssertionError("waited in vain")


@pytest.mark.usefixtures("solved_once")  # here; what was ended was solved in its own process
@pytest.mark.parametrize(
    ("form", "number", "options"),
    [
        ("ndjson", signal.SIGINT, []),
        pytest.param("csv", signal.SIGTERM, ["--processes", "2"], marks=pytest.mark.slow),
        pytest.param("parquet", signal.SIGTERM, [], marks=pytest.mark.slow),
    ],
)
def test_what_is_done_is_kept_and_gone_on_with(program, tmp_path, form, number, options):
    path, whole = tmp_path / f"part.{form}", tmp_path / f"whole.{form}"
    with started([*program, "--output", str(path), *options]) as process:
        # Parquet is written beside its place.
        wait_until(lambda: sum(f.stat().st_size for f in tmp_path.glob("part*")) > 30_000, process)
        process.send_signal(number)
        _, said = process.communicate(timeout=PATIENCE)
    assert process.returncode == 128 + number
    assert "Traceback" not in said
    name = "Ctrl-C" if number == signal.SIGINT else "SIGTERM"
    assert f"Ended by {name}: " in said
    assert "--resume goes on from there" in said
    designs = int(said.split(" of 6144 designs")[0].split()[-1])
    assert 0 < designs < 6144
    asked = program[2:]
    assert cli.main([*asked, "--output", str(whole)]) == 0
    kept = path.read_bytes()
    if form == "parquet":
        expected = pyarrow.parquet.read_table(whole).slice(0, designs)
        assert pyarrow.parquet.read_table(path).equals(expected)
    else:
        assert kept.endswith(b"\n")
        assert whole.read_bytes().startswith(kept)
    assert cli.main([*asked, "--output", str(path), "--resume"]) == 0
    assert path.read_bytes() == whole.read_bytes()


def test_standard_output_ends_with_a_whole_line_and_says_how_to_go_on(program, tmp_path):
    path = tmp_path / "out"
    with path.open("wb") as out, started(program, stdout=out) as process:
        wait_until(lambda: path.stat().st_size > 30_000, process)
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=PATIENCE)
    lines = path.read_bytes().splitlines()
    assert json.loads(lines[-1])["progress"]["next_line"] == len(lines) + 1
    assert f'"from_line": {len(lines) + 1} in the request goes on from there' in said
