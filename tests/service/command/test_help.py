"""What the help teaches can be done: every command in it is run as it stands, in its order."""

from __future__ import annotations

import os
import re
import socket
import stat
import subprocess
import sys

import click
import pytest

PATIENCE = 120  # seconds; most take two on a quiet machine
TOPICS = ("", "steady", "fit", "learn", "length", "warmup", "sweep", "rank")
ELSEWHERE = {
    "warmbranch demo": "keeps listening; tests/service/command/test_demo.py",
    "warmbranch serve --open": "keeps listening",
    "warmbranch serve": "keeps listening; tests/service/operation",
    "warmbranch sweep many.json --scheduler tcp://desk:8786": "tests/service/sweep/test_cluster.py",
}
"""Commands of the help that are not run here: why, and where they are."""

QUICKER = {
    r"--draws 8192": "--draws 64",
    r"--processes 4": "--processes 2",
    # The usual number of draws is taken by the ranking in the README, in test_rank.py.
    r"(rank many\.json)(?!.*--draws)": r"\1 --draws 64",
}


@pytest.fixture(scope="module")
def path_with_command(tmp_path_factory):
    """A PATH on which ``warmbranch`` is this package's."""
    folder = tmp_path_factory.mktemp("bin")
    command = folder / "warmbranch"
    command.write_text(
        f"#!{sys.executable}\nimport sys\nfrom warmbranch_service.command.cli import main\n"
        'if __name__ == "__main__":\n    sys.exit(main())\n'
    )
    command.chmod(command.stat().st_mode | stat.S_IXUSR)
    return f"{folder}{os.pathsep}{os.environ['PATH']}"


def shell(command, path, folder):
    return subprocess.run(
        ["bash", "-c", command],
        cwd=folder,
        env={**os.environ, "PATH": path},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=PATIENCE,
    )


def commands(text):
    """Lines that show a command: indented, what it does two spaces or more behind it."""
    return re.findall(r"^  (warmbranch .*?)(?: {2,}.*)?$", text, re.MULTILINE)


def shown_by_topics():
    """What the topics' own helps show, and is run for them; files to go on with are not."""
    from warmbranch_service.command.cli import warmbranch

    topics = [warmbranch.commands[topic] for topic in TOPICS[1:]]
    found = {line for one in topics for line in commands(one.get_help(click.Context(one)))}
    return {line for line in found if not line.startswith("warmbranch example")}


@pytest.mark.slow
@pytest.mark.parametrize("topic", TOPICS)
def test_examples_of_the_help(topic, path_with_command, tmp_path):
    told = shell(f"warmbranch {topic} --help", path_with_command, tmp_path).stdout
    shown = commands(told)
    assert len(shown) >= 3
    elsewhere = set(ELSEWHERE) | (set() if topic else shown_by_topics())
    for command in shown:
        if command in elsewhere:
            continue
        quick = command
        for slow, instead in QUICKER.items():
            quick = re.sub(slow, instead, quick)
        done = shell(quick, path_with_command, tmp_path)
        assert done.returncode == 0, (command, done.stderr)
        assert "Traceback" not in done.stderr, command
        output = re.search(r"(?:>|--output|--calibration) (\S+)", command)
        if output:
            assert (tmp_path / output[1]).stat().st_size > 100, command
        else:
            assert len(done.stdout) > 50, command


def test_the_request_by_curl(path_with_command, tmp_path):
    """The last line of the first help, with another port."""
    told = shell("warmbranch --help", path_with_command, tmp_path).stdout
    (curl,) = re.findall(r"^  (curl .*)$", told, re.MULTILINE)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    around = (
        f"warmbranch example van > my.json; warmbranch serve --port {port} 2> log & service=$!; "
        f"for i in $(seq 100); do curl -sf localhost:{port}/v1/ready >/dev/null && break; "
        f"sleep 0.3; done; {curl.replace('8000', str(port))}; kill $service; wait $service"
    )
    done = shell(around, path_with_command, tmp_path)
    assert '"quiet_rpm"' in done.stdout, done.stderr


@pytest.mark.parametrize(
    "topic", [*TOPICS, "serve", "demo", "example", "openapi", "compile", "completion"]
)
def test_help_fits_a_terminal(topic, path_with_command, tmp_path):
    told = shell(f"warmbranch {topic} --help", path_with_command, tmp_path)
    assert told.returncode == 0
    assert max(map(len, told.stdout.splitlines())) <= 80
