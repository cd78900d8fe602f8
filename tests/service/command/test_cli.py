"""The command line, as a user meets it: in a process of its own where that matters."""

from __future__ import annotations

import contextlib
import http.client
import io
import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from shared.running import free_port
from warmbranch_service import MODEL_VERSION
from warmbranch_service.command import cli
from warmbranch_service.demo import demo_text

COMMAND = [
    sys.executable,
    "-c",
    "from warmbranch_service.command.cli import main; raise SystemExit(main())",
]
PATIENCE = 120  # seconds; a start takes two on a quiet machine


def run(*arguments, stdin=""):
    return subprocess.run(
        [*COMMAND, *arguments], input=stdin, capture_output=True, text=True, timeout=PATIENCE
    )


@pytest.fixture
def van_file(tmp_path):
    path = tmp_path / "van.json"
    path.write_text(demo_text("van"), encoding="utf-8")
    return path


def test_steady_prints_a_table(van_file, capsys):
    assert cli.main(["steady", str(van_file)]) == 0
    text = capsys.readouterr().out
    assert text.startswith("Quiet at 2351 rpm")
    for heading in ("Frequencies", "Along the branch", "Transmission loss", "Mind", "Safety"):
        assert f"\n{heading}" in text
    assert "gas °C" in text
    assert "one gas temperature all along" in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_table_and_json_agree(van_file, capsys):
    cli.main(["steady", str(van_file), "--json"])
    answer = json.loads(capsys.readouterr().out)
    cli.main(["steady", str(van_file)])
    text = capsys.readouterr().out
    first, quiet = answer["resonance"]["frequency_Hz"][0], answer["resonance"]["quiet_rpm"]
    assert f"{first:.2f} Hz" in text
    assert f"{quiet:.0f} rpm" in text
    assert f"{answer['profile']['gas_degC'][-1]:.1f}" in text


def test_json_is_what_the_service_gives(van_file, capsys, steady, van):
    cli.main(["steady", str(van_file), "--json"])
    assert json.loads(capsys.readouterr().out) == steady(van)


def test_table_without_engine_has_no_rpm(tmp_path, capsys, smallest):
    path = tmp_path / "smallest.json"
    path.write_text(json.dumps(smallest), encoding="utf-8")
    assert cli.main(["steady", str(path)]) == 0
    assert "rpm" not in capsys.readouterr().out.split("Mind")[0]


def test_standard_input(monkeypatch, capsys):
    stdin = io.TextIOWrapper(io.BytesIO(demo_text("generator").encode()), encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", stdin)
    assert cli.main(["steady", "-"]) == 0
    assert "engine order 1.5" in capsys.readouterr().out


def test_what_is_impossible_is_said_with_its_place(tmp_path, capsys):
    path = tmp_path / "wrong.json"
    path.write_text(demo_text("van").replace("48.3", '"48 kg"'), encoding="utf-8")
    assert cli.main(["steady", str(path)]) == 2
    found = capsys.readouterr()
    assert found.out == ""
    assert found.err.startswith("warmbranch: The request holds something impossible.")
    words = " ".join(found.err.split())
    assert 'case.branch.outside_diameter_mm: "kg" is not a unit of a length.' in words


@pytest.mark.parametrize(
    ("content", "words"),
    [("{", "line 1, column 2"), ("", "line 1, column 1"), ('{"a": 1, "a": 2}', "stands twice")],
)
def test_what_is_no_json_is_said_with_its_place(tmp_path, capsys, content, words):
    path = tmp_path / "wrong.json"
    path.write_text(content, encoding="utf-8")
    assert cli.main(["steady", str(path)]) == 2
    assert words in capsys.readouterr().err


def test_file_that_is_not_there(tmp_path, capsys):
    assert cli.main(["steady", str(tmp_path / "none.json")]) == 2
    assert "cannot be read: No such file" in capsys.readouterr().err


def test_what_nobody_foresaw_shows_no_traceback(van_file, capsys, monkeypatch):
    def fail(_):
        raise RuntimeError("odd")

    monkeypatch.setattr("warmbranch_service.steady.answer.steady", fail)
    assert cli.main(["steady", str(van_file)]) == 1
    assert capsys.readouterr().err == "warmbranch: RuntimeError: odd\n"


@pytest.mark.parametrize("name", ["van", "generator"])
def test_example_can_be_fed_back(name, tmp_path, capsys):
    assert cli.main(["example", name]) == 0
    path = tmp_path / "my.json"
    path.write_text(capsys.readouterr().out, encoding="utf-8")
    assert cli.main(["steady", str(path)]) == 0


def test_help_teaches(capsys):
    assert cli.main(["--help"]) == 0
    text = capsys.readouterr().out
    for word in ("demo", "steady", "serve", "example", "start here", "2.25 in", "exit status"):
        assert word in text


@pytest.mark.parametrize(
    "command", ["demo", "steady", "serve", "example", "openapi", "sweep", "rank"]
)
def test_every_command_has_help(command, capsys):
    assert cli.main([command, "--help"]) == 0
    assert f"Usage: warmbranch {command}" in capsys.readouterr().out


@pytest.mark.parametrize(
    "arguments",
    [[], ["nonsense"], ["steady"], ["serve", "--port", "70000"], ["serve", "--workers", "0"],
     ["demo", "boat"]],
)  # fmt: skip
def test_wrong_command_lines_end_with_2(arguments, capsys):
    assert cli.main(arguments) == 2
    assert "Usage: warmbranch" in capsys.readouterr().err


def test_version(capsys):
    assert cli.main(["--version"]) == 0
    assert capsys.readouterr().out == f"warmbranch {MODEL_VERSION}\n"


def test_serve_refuses_settings_that_make_no_sense(monkeypatch, capsys):
    monkeypatch.setenv("WARMBRANCH_LONGEST_BODY", "large")
    assert cli.main(["serve"]) == 2
    assert "WARMBRANCH_LONGEST_BODY='large'" in capsys.readouterr().err


def test_help_loads_no_physics():
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys; from warmbranch_service.command.cli import main\n"
            "main(['--help'])\n"
            "print('LOADED', 'numpy' in sys.modules, 'fastapi' in sys.modules)",
        ],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
    )
    assert done.stdout.endswith("LOADED False False\n")


def test_nothing_heavy_is_loaded_by_the_service():
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            "import os, sys, warmbranch_service.http.app\n"
            "heavy = {'CoolProp', 'cantera', 'scipy.optimize', 'scipy.interpolate', 'pint'}\n"
            "print(sorted(heavy & set(sys.modules)), os.environ['OPENBLAS_NUM_THREADS'])",
        ],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.stdout == "[] 1\n"


def test_threads_of_linear_algebra_are_one_unless_the_user_says_otherwise():
    show = "import os, warmbranch_service; print(os.environ['OPENBLAS_NUM_THREADS'])"
    bare = {k: v for k, v in os.environ.items() if k != "OPENBLAS_NUM_THREADS"}
    for environment, expected in ((bare, "1"), ({**bare, "OPENBLAS_NUM_THREADS": "3"}, "3")):
        done = subprocess.run(
            [sys.executable, "-c", show],
            capture_output=True,
            text=True,
            env=environment,
            timeout=PATIENCE,
        )
        assert done.stdout == f"{expected}\n"


def test_demo_serves_and_prints():
    done = run("demo", "generator", "--no-wait")
    assert done.returncode == 0, done.stderr
    assert "POST http://127.0.0.1:" in done.stdout
    assert "/v1/steady answered 200" in done.stdout
    assert "Quiet at" in done.stdout
    assert done.stderr == ""


def test_demo_on_a_port_that_is_taken(capsys):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        status = cli.main(["demo", "--no-wait", "--port", str(taken.getsockname()[1])])
    assert status == 2
    assert "cannot be used: Address already in use" in capsys.readouterr().err


def test_serve_on_a_port_that_is_taken():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        done = run("serve", "--port", str(taken.getsockname()[1]))
    assert done.returncode == 1
    assert "cannot be used: Address already in use" in done.stderr
    assert "--take-over" in done.stderr
    assert "Traceback" not in done.stderr


def test_reader_that_leaves_early_is_no_trouble(van_file):
    command = f"{sys.executable} -m warmbranch_service steady"
    done = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {command} {van_file} --json | head -c 10"],
        capture_output=True,
        text=True,
        timeout=PATIENCE,
    )
    assert len(done.stdout) == 10
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr


def get(port, path, body=None):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
    try:
        method = "GET" if body is None else "POST"
        connection.request(method, path, body, {"content-type": "application/json"})
        response = connection.getresponse()
        return response.status, response.headers, response.read()
    finally:
        connection.close()


def wait_for(condition):
    deadline = time.monotonic() + PATIENCE
    while time.monotonic() < deadline:
        try:
            if condition():
                return
        except OSError:
            pass
        time.sleep(0.05)
    raise AssertionError("waited in vain")


def test_demo_keeps_listening_until_control_c():
    with subprocess.Popen(
        [*COMMAND, "demo"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # As at a terminal: a job started in the background inherits that Control-C is ignored.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    ) as process:
        address = ""
        for line in process.stdout:
            if line.startswith("Listening at"):
                address = line.split()[2]
                break
        port = int(address.rsplit(":", 1)[1])
        status, _, _ = get(port, "/v1/health")
        assert status == 200
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=PATIENCE)
        assert process.returncode == 0


@contextlib.contextmanager
def ended(process):
    """A process that a failed test leaves running would be waited for, for ever."""
    try:
        yield
    finally:
        process.kill()


def test_serve_answers_and_stops_when_told(tmp_path):
    port, log = free_port(), tmp_path / "log"
    with (
        log.open("w") as stderr,
        subprocess.Popen(
            [*COMMAND, "serve", "--port", str(port), "--workers", "1"], stderr=stderr
        ) as process,
        ended(process),
    ):
        wait_for(lambda: get(port, "/v1/ready")[0] == 200)
        status, headers, content = get(port, "/v1/steady", demo_text("van").encode())
        assert status == 200
        assert json.loads(content)["outcome"] == "resonance found"
        assert "server" not in headers
        status, headers, content = get(port, "/v1/steady", b"x" * (1024 * 1024 + 1))
        assert status == 413
        assert headers["content-type"] == "application/problem+json"
        process.terminate()
        process.wait(timeout=PATIENCE)
    text = Path(log).read_text()
    assert "Traceback" not in text
    assert "path='/v1/steady' status=200" in text
