"""How much was worked on behalf of whoever asked, for those who watch over a service or wait.

Counting costs nothing to speak of: once a batch, not once a step.
"""

from __future__ import annotations

from collections.abc import Generator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass


@dataclass
class Tally:
    """Work done within a context.

    Parameters
    ----------
    solves : int
        Heat balances solved: for each design that of its sketch (see sketch.py) and its own, once
        more a pass where it pulsates; and one a step of a warm-up.
    iterations : int
        Newton steps that these took.
    share : float
        How much of the whole work is done, as far as whoever does it can plan; 0 until then.
    """

    solves: int = 0
    iterations: int = 0
    share: float = 0.0


_current: ContextVar[Tally | None] = ContextVar("tally", default=None)


@contextmanager
def counted_into(tally: Tally) -> Generator[None]:
    """Count what is solved within."""
    token = _current.set(tally)
    try:
        yield
    finally:
        _current.reset(token)


def add(solves: float, iterations: float) -> None:
    """Count work that is done."""
    tally = _current.get()
    if tally is not None:
        tally.solves += int(solves)
        tally.iterations += int(iterations)


def reached(share: float) -> None:
    """Tell how much of the whole work is done; it never goes back."""
    tally = _current.get()
    if tally is not None:
        tally.share = max(tally.share, share)
