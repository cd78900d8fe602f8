"""What a terminal shows while one question takes long; and nothing where nobody looks."""

from __future__ import annotations

import re
import sys

import pytest

from shared.running import until
from warmbranch.base import tally
from warmbranch_service.command import waiting
from warmbranch_service.http.openapi.request_examples import FILES
from warmbranch_service.length.examples import example_text
from warmbranch_service.local import fit_of, length_of


def test_a_long_answer_is_told_and_closed(monkeypatch, capsys):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(waiting, "EVERY", 0.02)
    said = ""

    def told(pattern: str) -> bool:
        nonlocal said
        said += capsys.readouterr().err
        return re.search(pattern, said) is not None

    with waiting.waiting(patience=0.05):
        tally.add(7, 7)
        until(lambda: told(r"Working: \d+ s, 7 branches solved \.\.\."))
        tally.reached(0.1)
        until(lambda: told(r"Working: \d+ s, about [1-9]\d* s left, 7 branches solved"))
    assert told(r"Answered in \d+\.\d s\.\s*$")


def test_time_left_counts_down_between_what_is_reached():
    left = waiting.Left()
    assert left.after(1, 0.0) is None
    assert left.after(2, 0.25) == 6
    assert left.after(5, 0.25) == 3
    assert left.after(20, 0.25) == 0
    assert left.after(20, 0.8) == 5


def test_a_fit_and_a_length_tell_how_far_they_are():
    """Each share is told in its order, and none is beyond the whole."""
    for question, least in ((fit_of, 3), (length_of, 1)):
        shares: list[float] = []
        text = FILES["fit"][1]() if question is fit_of else example_text("length")
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(tally, "reached", shares.append)
            question(text.encode())
        assert len(shares) >= least
        assert shares == sorted(shares)
        assert 0 < shares[-1] < 1


def test_a_short_answer_says_nothing(monkeypatch, capsys):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with waiting.waiting(patience=5):
        pass
    assert capsys.readouterr().err == ""


def test_no_terminal_no_words(capsys):
    with pytest.raises(ValueError, match="as raised"), waiting.waiting(patience=0):
        raise ValueError("as raised")
    assert capsys.readouterr().err == ""
