"""The Containerfile, as far as it can be read without building it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

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
    assert bases.pop().startswith("docker.io/library/python:")


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
    assert f"127.0.0.1:{port}/v1/ready" in of(final, "HEALTHCHECK")[0]
    assert json.loads(of(final, "ENTRYPOINT")[0]) == ["/opt/warmbranch/bin/warmbranch"]
