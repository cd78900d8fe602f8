"""What the commands share: how they end, and what they read, write and say."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import click

from warmbranch_service.command.waiting import waiting

OK, FAILED, REFUSED, INTERRUPTED = 0, 1, 2, 130
"""Exit statuses: answered, failed, asked for something impossible, ended by Ctrl-C."""

WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""How the files of spreadsheet programs begin: packed ones, and those of before 2007."""

Answer = TypeVar("Answer")


class Refused(Exception):
    """What the user can mend; its text goes to standard error."""


class Failed(Exception):
    """What the user cannot mend."""


def read(name: str) -> bytes:
    """A file's content; ``-`` is standard input.

    Raises
    ------
    Refused
        If it cannot be read, or is a workbook.
    """
    if name == "-":
        return sys.stdin.buffer.read()
    try:
        content = Path(name).read_bytes()
    except OSError as error:
        raise Refused(f"{name} cannot be read: {error.strerror}.") from None
    if content.startswith(WORKBOOKS):
        raise Refused(
            f"{name} is a spreadsheet program's workbook, which holds more than a table. In that "
            "program choose Save as, CSV, and give the new file."
        )
    return content


def read_text(name: str) -> str:
    """A table's text, whatever a spreadsheet program saves it in: UTF-8, UTF-16 or cp1252."""
    content = read(name)
    encoding = "utf-16" if content.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        return content.decode(encoding)
    except UnicodeDecodeError:
        # Every byte but five is a character there; those five are in no table of readings.
        text = content.decode("cp1252", errors="replace")
    if "\ufffd" in text or "\0" in text:
        raise Refused(f"{name} is no text. Save the table as CSV, UTF-8.")
    return text


def write(name: str, content: str | bytes) -> None:
    """Write a file."""
    try:
        Path(name).write_bytes(content.encode() if isinstance(content, str) else content)
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
        with waiting():
            return work()
    except Problem as problem:
        text = readable_problem(problem.parts)
        if problem.parts.kind in (INVALID, MALFORMED):
            raise Refused(text) from None
        raise Failed(text) from None


def show(text: str) -> None:
    """A report on standard output: on a terminal, the answer and the titles stand out."""
    if not sys.stdout.isatty():
        sys.stdout.write(text)
        return
    first = text.partition("\n  ")[0]
    for block in text.rstrip("\n").split("\n\n"):
        title, _, rest = block.partition("\n")
        if block.startswith(first):
            title = click.style(title, bold=True, fg="green")
        elif rest:
            title = click.style(title, bold=True)
        click.echo(title + ("\n" + rest if rest else "") + "\n")
