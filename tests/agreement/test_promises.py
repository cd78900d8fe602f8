"""What the README promises of the service is proved, by tests that promises.md names."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PROVED = (ROOT / "tests/service/serving/promises.md").read_text(encoding="utf-8")


def table(text: str, heading: str) -> list[list[str]]:
    """Rows of the table with that heading, as cells."""
    lines = text.partition(heading)[2].partition("\n\n")[0].strip().splitlines()[1:]
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines]


def test_every_promise_names_its_proof():
    promised = table(README, "| when | then |\n")
    proved = table(PROVED, "| when | then | proved by |\n")
    assert len(promised) > 10
    assert promised == [row[:2] for row in proved]
    for *_, proofs in proved:
        named = re.findall(r"`([^`]+)`", proofs)
        assert named
        for one in named:
            path, _, test = one.partition("::")
            text = (ROOT / path).read_text(encoding="utf-8")
            assert not test or f"def {test}(" in text, one
