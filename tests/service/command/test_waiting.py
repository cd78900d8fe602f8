"""What a terminal shows while one question takes long; and nothing where nobody looks."""

from __future__ import annotations

import sys
import time

import pytest

from warmbranch.base import tally
from warmbranch_service.command import waiting


def test_a_long_answer_is_told_and_closed(monkeypatch, capsys):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(waiting, "EVERY", 0.02)
    with waiting.waiting(patience=0.05):
        tally.add(7, 7)
        time.sleep(0.3)
    said = capsys.readouterr().err
    assert "Working: 0 s, 7 branches solved ..." in said
    assert said.rstrip().endswith("s.")
    assert "Answered in 0." in said


def test_a_short_answer_says_nothing(monkeypatch, capsys):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with waiting.waiting(patience=5):
        pass
    assert capsys.readouterr().err == ""


def test_no_terminal_no_words(capsys):
    with pytest.raises(ValueError, match="as raised"), waiting.waiting(patience=0):
        raise ValueError("as raised")
    assert capsys.readouterr().err == ""
