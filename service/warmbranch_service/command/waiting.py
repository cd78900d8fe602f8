"""A line on a terminal while one question takes more than two seconds, and one when it is done.

How long a fit still takes hangs on what it finds: the time left is a guess from the share of the
work that is done, and none is told before there is a share.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Generator
from contextlib import contextmanager

import click

PATIENCE = 2.0
"""Seconds that nobody needs an excuse for."""
EVERY = 0.5


class Left:
    """Time left, from the share that was done when it last rose."""

    def __init__(self) -> None:
        self._share, self._end = 0.0, 0.0

    def after(self, spent: float, share: float) -> float | None:
        """Seconds left after so many spent, never below none; None where nothing is known."""
        if share > self._share:
            self._share, self._end = share, spent / share
        return max(self._end - spent, 0.0) if self._share else None


@contextmanager
def waiting(patience: float = PATIENCE) -> Generator[None]:
    """Tell on standard error, where that is a terminal, that work goes on and when it is done."""
    if not sys.stderr.isatty():
        yield
        return
    from warmbranch.base.tally import Tally, counted_into

    tally, done, began = Tally(), threading.Event(), time.monotonic()

    def tell() -> None:
        left = Left()
        while not done.wait(EVERY):
            spent = time.monotonic() - began
            more = left.after(spent, tally.share)
            if spent < patience:
                continue
            told = "" if more is None else f", about {max(more, 1):.0f} s left"
            solved = f", {tally.solves} branches solved" if tally.solves else ""
            click.echo(f"\r\x1b[KWorking: {spent:.0f} s{told}{solved} ...", nl=False, err=True)

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        with counted_into(tally):
            yield
    finally:
        done.set()
        teller.join()
        spent = time.monotonic() - began
        if spent > patience:
            click.echo(f"\r\x1b[KAnswered in {spent:.1f} s.", err=True)
