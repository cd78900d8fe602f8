"""What the commands share: how they end, and what they read, write and say."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

OK, FAILED, REFUSED, INTERRUPTED = 0, 1, 2, 130
"""Exit statuses: answered, failed, asked for something impossible, ended by Ctrl-C."""

Answer = TypeVar("Answer")


class Refused(Exception):
    """What the user can mend; its text goes to standard error."""


class Failed(Exception):
    """What the user cannot mend."""


def read(name: str) -> bytes:
    """A file's content; ``-`` is standard input."""
    if name == "-":
        return sys.stdin.buffer.read()
    try:
        return Path(name).read_bytes()
    except OSError as error:
        raise Refused(f"{name} cannot be read: {error.strerror}.") from None


def read_text(name: str) -> str:
    """A file's content as text."""
    try:
        return read(name).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Refused(f"{name} is not UTF-8.") from None


def write(name: str, text: str) -> None:
    """Write a file."""
    try:
        Path(name).write_text(text, encoding="utf-8")
    except OSError as error:
        raise Refused(f"{name} cannot be written: {error.strerror}.") from None


def complain(text: str) -> None:
    """Say something on standard error."""
    sys.stderr.write(f"warmbranch: {text.rstrip()}\n")


def answered(work: Callable[[], Answer]) -> Answer:
    """Do it, and tell a failure as the service would."""
    from warmbranch_service.contract.errors import INVALID, MALFORMED, Problem
    from warmbranch_service.steady.table import readable_problem

    try:
        return work()
    except Problem as problem:
        text = readable_problem(problem.parts)
        if problem.parts.kind in (INVALID, MALFORMED):
            raise Refused(text) from None
        raise Failed(text) from None


def write_bytes(name: str, content: bytes) -> None:
    """Write a file that is no text."""
    try:
        Path(name).write_bytes(content)
    except OSError as error:
        raise Refused(f"{name} cannot be written: {error.strerror}.") from None
