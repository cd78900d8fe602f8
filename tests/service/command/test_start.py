"""A start loads what the command needs, and no more."""

from __future__ import annotations

import subprocess
import sys

import pytest

from warmbranch_service.demo import demo_text

LOADED = """
import sys
from warmbranch_service.command.cli import main
status = main(sys.argv[1:])
for name in sorted({module.partition(".")[0] for module in sys.modules}):
    print(name, file=sys.stderr)
sys.exit(status)
"""


def loaded_by(*arguments: str) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", LOADED, *arguments], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return set(done.stderr.split())


@pytest.fixture(scope="module")
def after_steady(tmp_path_factory) -> set[str]:
    path = tmp_path_factory.mktemp("start") / "van.json"
    path.write_text(demo_text("van"), encoding="utf-8")
    return loaded_by("steady", str(path))


@pytest.mark.parametrize("library", ["fastapi", "starlette", "uvicorn", "scipy", "numba", "pint"])
def test_steady_does_without(after_steady, library):
    assert library not in after_steady


def test_what_is_looked_for_would_be_seen(after_steady):
    assert {"numpy", "pydantic", "warmbranch", "warmbranch_service"} <= after_steady


def test_an_example_does_without_numbers():
    assert "numpy" not in loaded_by("example", "van")
