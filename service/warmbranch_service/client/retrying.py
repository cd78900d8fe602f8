"""When to ask again, and how long to wait before it."""

from __future__ import annotations

import random
from dataclasses import dataclass

LONGEST_DIGITS = 9


@dataclass(frozen=True)
class Retrying:
    """How often and how patiently a busy service is asked again.

    Every request of this service may be repeated: it keeps nothing, and the same request gives the
    same answer.

    Parameters
    ----------
    attempts : int
        Times that a request is sent, the first included; 1 never asks again.
    first_wait, longest_wait : float
        Seconds. The wait doubles from the one to the other, less up to half of it by chance, so
        that clients that were turned away together do not come back together. It is never shorter
        than the service's ``Retry-After``.
    patience : float
        Seconds of waiting in all; a wait that would go beyond is not begun.
    """

    attempts: int = 5
    first_wait: float = 0.2
    longest_wait: float = 5.0
    patience: float = 30.0

    def __post_init__(self) -> None:
        if self.attempts < 1 or min(self.first_wait, self.longest_wait, self.patience) < 0:
            raise ValueError("Give one attempt or more, and no negative wait.")

    def wait(self, attempt: int, waited: float, retry_after: float | None) -> float | None:
        """Seconds until the next attempt, or None when it is time to give up.

        Parameters
        ----------
        attempt : int
            Number of the attempt that failed, from 1.
        waited : float
            Seconds waited so far.
        retry_after : float or None
            What the service asked for, in seconds.
        """
        if attempt >= self.attempts:
            return None
        # Capped exponent: 2**attempt must not overflow for whoever asks a thousand times.
        grown = min(self.longest_wait, self.first_wait * 2.0 ** min(attempt - 1, 60))
        pause = max(grown * random.uniform(0.5, 1.0), retry_after or 0.0)
        return pause if waited + pause <= self.patience else None


def seconds_of(retry_after: str | None) -> float | None:
    """Seconds that a ``Retry-After`` header names; None when it names none.

    >>> seconds_of("2"), seconds_of("soon"), seconds_of(None)
    (2.0, None, None)
    """
    text = (retry_after or "").strip()
    is_number = text.isascii() and text.isdigit() and len(text) <= LONGEST_DIGITS
    return float(text) if is_number else None
