"""Ending work that nobody waits for any more.

Work runs under a :class:`Stop`; whoever started it may set it from another thread, and the long
loops look at it between steps: ``check`` where Python runs, ``flag`` where the compiled core does.
Without one nothing ever stops, and a look costs some fifty nanoseconds.
"""

from __future__ import annotations

from collections.abc import Generator
from contextlib import contextmanager
from contextvars import ContextVar

import numpy as np

from warmbranch.base.batch import IntArray
from warmbranch.base.errors import StoppedError


class Stop:
    """Set once, by any thread; what runs under it ends within a few steps.

    Attributes
    ----------
    flag : (1,) array
        0, or 1 once set: what the compiled core looks at, which cannot look at Python's objects.
    reason : str
        Why it was set.
    """

    def __init__(self) -> None:
        self.flag: IntArray = np.zeros(1, dtype=np.int64)
        self.reason = ""
        self._is_set = False

    @property
    def is_set(self) -> bool:
        """Whether the work is to end."""
        return self._is_set

    def set(self, reason: str) -> None:
        """End the work; the first reason stays."""
        if not self._is_set:
            self.reason = reason
            self._is_set = True
            self.flag[0] = 1

    def check(self) -> None:
        """Raise ``StoppedError`` if set."""
        if self._is_set:
            raise StoppedError(self.reason)


_NEVER = Stop()
_current: ContextVar[Stop] = ContextVar("stop", default=_NEVER)


@contextmanager
def under(stop: Stop) -> Generator[None]:
    """Let the work of this context, and of this thread alone, be ended by ``stop``."""
    token = _current.set(stop)
    try:
        yield
    finally:
        _current.reset(token)


def check() -> None:
    """Raise ``StoppedError`` if the work of this context is to end."""
    _current.get().check()


def flag() -> IntArray:
    """The flag of this context, for the compiled core; ``check`` when they return."""
    return _current.get().flag
