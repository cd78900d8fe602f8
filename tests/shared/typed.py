"""Command lines as somebody types them, run here: starting an interpreter is most of their time."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from warmbranch_service.command import cli


def typed(line: str, capture: pytest.CaptureFixture[str]) -> str:
    """Do ``warmbranch ...``, which must succeed, in the working folder; what it prints.

    A ``> FILE`` in it is followed; of the shell's other words there are none in what we teach.
    """
    program, *words = shlex.split(line, comments=True)
    assert program == "warmbranch"
    target = words.index(">") if ">" in words else len(words)
    capture.readouterr()
    status = cli.main(words[:target])
    told = capture.readouterr()
    assert status == 0, (line, told.err)
    assert "Traceback" not in told.err, line
    for file in words[target + 1 :]:
        Path(file).write_text(told.out, encoding="utf-8")
    return told.out
