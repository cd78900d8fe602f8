"""A line on a terminal while one question takes more than two seconds, and one when it is done.

How long a fit still takes hangs on what it finds, so no time left is told, but what is done so far.
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


@contextmanager
def waiting(patience: float = PATIENCE) -> Generator[None]:
    """Tell on standard error, where that is a terminal, that work goes on and when it is done."""
    if not sys.stderr.isatty():
        yield
        return
    from warmbranch.base.tally import Tally, counted_into

    tally, done, began = Tally(), threading.Event(), time.monotonic()

    def tell() -> None:
        while not done.wait(max(EVERY, began + patience - time.monotonic())):
            spent = time.monotonic() - began
            solved = f", {tally.solves} branches solved" if tally.solves else ""
            click.echo(f"\r\x1b[KWorking: {spent:.0f} s{solved} ...", nl=False, err=True)

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
