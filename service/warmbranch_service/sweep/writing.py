"""What all writers of a sweep share: their protocol and their failures."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

from warmbranch_service.sweep.plan import Chunk


class WritingError(Exception):
    """Designs cannot be written there; its text says why and what to do."""


class Writer(Protocol):
    """Takes the chunks of a sweep, in order.

    Attributes
    ----------
    first : int
        Chunk to begin with.
    designs : int
        Designs that are written.
    next_line : int or None
        Line of the service's answer that comes next; None of other formats.
    """

    first: int
    designs: int

    @property
    def next_line(self) -> int | None:
        """See above."""
        ...

    def write(self, chunk: Chunk) -> None:
        """Write one chunk, but for what of it is there already.

        Raises
        ------
        WritingError
            By this and the following: no room, no permission.
        """
        ...

    def end(self) -> None:
        """Everything is written."""
        ...

    def close(self) -> None:
        """Leave what is written whole and readable."""
        ...


def not_written(path: object, error: OSError) -> WritingError:
    """The failure of a file that cannot be written."""
    return WritingError(f"{path} cannot be written: {error.strerror or error}.")


def is_there_already(path: Path) -> WritingError:
    """The failure of a new file that would take the place of another."""
    return WritingError(
        f"{path} is there already. Add --resume to go on with it, or give another --output."
    )


def of_another_sweep(path: Path) -> WritingError:
    """The failure of a file that holds other designs than are asked for."""
    return WritingError(
        f"{path} holds another sweep: another request, or another version of the model, wrote it. "
        "Give another --output."
    )
