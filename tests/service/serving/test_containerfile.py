"""The Containerfile, as far as it can be read without building it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from shared.running import Service, free_port

ROOT = Path(__file__).parents[3]
COMPILERS = ("gcc", "build-essential", "clang", "apt-get", "pip install", "-dev")


@pytest.fixture(scope="module")
def stages():
    """Instructions of each stage, as pairs of keyword and rest."""
    text = (ROOT / "service" / "Containerfile").read_text(encoding="utf-8")
    text = re.sub(r"^#.*\n", "", text, flags=re.MULTILINE).replace("\\\n", " ")
    found = []
    for line in filter(str.strip, text.splitlines()):
        keyword, rest = line.split(maxsplit=1)
        if keyword == "FROM":
            found.append([])
        found[-1].append((keyword, rest))
    return found


def of(stage, keyword):
    return [rest for found, rest in stage if found == keyword]


def test_what_is_copied_is_there(stages):
    for rest in of(stages[0], "COPY"):
        *sources, _ = rest.split()
        for source in sources:
            assert (ROOT / source).exists(), source


def test_bases_are_official_and_the_same(stages):
    bases = {of(stage, "FROM")[0].split()[0] for stage in stages}
    assert len(bases) == 1
    # To the patch and the distribution, so that it is the same next year.
    assert re.fullmatch(r"docker\.io/library/python:3\.\d+\.\d+-slim-\w+", bases.pop())


def test_the_final_stage_builds_nothing_and_is_not_root(stages):
    final = stages[-1]
    for rest in of(final, "RUN"):
        assert not any(word in rest for word in COMPILERS)
    assert int(of(final, "USER")[0]) > 0
    for rest in of(final, "COPY"):
        assert rest.startswith("--from=build ")


def test_it_serves_where_it_can_be_reached_and_tells_its_health(stages):
    final = stages[-1]
    command = json.loads(of(final, "CMD")[0])
    assert command[:3] == ["serve", "--host", "0.0.0.0"]
    port = command[command.index("--port") + 1]
    assert of(final, "EXPOSE") == [port]
    told = of(final, "HEALTHCHECK")[0]
    assert f"'127.0.0.1', {port}" in told
    assert "'/v1/ready'" in told
    assert json.loads(of(final, "ENTRYPOINT")[0]) == ["/opt/warmbranch/bin/warmbranch"]


@pytest.fixture
def service(tmp_path):
    quick = {"WARMBRANCH_WARM_UP": "0", "WARMBRANCH_KERNEL": "off"}
    with Service(tmp_path / "log", **quick) as service:
        service.wait_until_ready()
        yield service


def test_its_health_check_tells_and_asks_no_proxy(stages, service, monkeypatch):
    told = of(stages[-1], "HEALTHCHECK")[0]
    _, option, program = json.loads(told[told.index("[") :])
    assert option == "-c"
    for name in ("http_proxy", "HTTP_PROXY", "all_proxy"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    here = program.replace("8000", str(service.port))
    assert subprocess.run([sys.executable, "-c", here], timeout=60).returncode == 0
    nowhere = program.replace("8000", str(free_port()))
    gone = subprocess.run([sys.executable, "-c", nowhere], timeout=60, capture_output=True)
    assert gone.returncode == 1
