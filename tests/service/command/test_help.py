"""What the help teaches can be done: every command in it is run as it stands, in its order."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import click
import pytest

from shared.typed import typed
from warmbranch_service.serving.running import LocalService

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
def test_examples_of_the_help(topic, tmp_path, monkeypatch, capfd):
    monkeypatch.chdir(tmp_path)
    shown = commands(typed(f"warmbranch {topic} --help", capfd))
    assert len(shown) >= 3
    elsewhere = set(ELSEWHERE) | (set() if topic else shown_by_topics())
    for command in shown:
        if command in elsewhere:
            continue
        quick = command
        for slow, instead in QUICKER.items():
            quick = re.sub(slow, instead, quick)
        printed = typed(quick, capfd)
        output = re.search(r"(?:>|--output|--calibration) (\S+)", command)
        if output:
            assert Path(output[1]).stat().st_size > 100, command
        else:
            assert len(printed) > 50, command


def test_the_request_by_curl(tmp_path, monkeypatch, capsys):
    """The last line of the first help, with another port."""
    (curl,) = re.findall(r"^  (curl .*)$", typed("warmbranch --help", capsys), re.MULTILINE)
    (tmp_path / "my.json").write_text(typed("warmbranch example van", capsys), encoding="utf-8")
    monkeypatch.setenv("WARMBRANCH_WARM_UP", "0")
    with LocalService(0) as service:
        line = curl.replace("localhost:8000", service.address.removeprefix("http://"))
        done = subprocess.run(["bash", "-c", line], cwd=tmp_path, capture_output=True, text=True)
    assert '"quiet_rpm"' in done.stdout, done.stderr


@pytest.mark.parametrize(
    "topic", [*TOPICS, "serve", "demo", "example", "openapi", "compile", "completion"]
)
def test_help_fits_a_terminal(topic, capsys):
    assert max(map(len, typed(f"warmbranch {topic} --help", capsys).splitlines())) <= 80
