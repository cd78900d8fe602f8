"""What the commands that solve many designs share: where they are solved, a bar, an early end."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Generator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from warmbranch_service.command.terminal import Refused, complain
from warmbranch_service.http.settings import BY_VARIABLE

if TYPE_CHECKING:
    from warmbranch.base.stopping import Stop
    from warmbranch_service.sweep.executors import Executor

MOST_PROCESSES = 256
SCHEDULER = "WARMBRANCH_SCHEDULER"
SAID = {"SIGINT": "Ctrl-C"}


Command = TypeVar("Command", bound=Callable[..., Any])


def _checked_scheduler(
    _ctx: click.Context, _option: click.Parameter, text: str | None
) -> str | None:
    return None if text is None else _scheduler(text)


def executors(command: Command) -> Command:
    """Add the options that say where designs are solved."""
    command = click.option(
        "--scheduler",
        callback=_checked_scheduler,
        metavar="tcp://HOST:PORT",
        help=f"Solve on the workers of a Dask cluster. Default: what {SCHEDULER} says, if set.",
    )(command)
    return click.option(
        "--processes",
        type=click.IntRange(1, MOST_PROCESSES),
        metavar="N",
        help="Solve in so many processes; about one a core. Default: 1.",
    )(command)


def executor_of(processes: int | None, scheduler: str | None) -> Executor:
    """Where the command line, or else the environment, says."""
    from warmbranch_service.sweep import choosing

    if processes is not None and scheduler is not None:
        raise click.UsageError("--processes and --scheduler: one of them is allowed.")
    if processes is not None:
        return choosing.executor(processes=processes)
    if scheduler is not None:
        return choosing.executor(scheduler=scheduler)
    try:
        return choosing.executor(scheduler=_scheduler(os.environ.get(SCHEDULER, "")))
    except click.BadParameter as error:
        raise Refused(f"{SCHEDULER}={os.environ[SCHEDULER]!r}: {error.message}") from None


class Bar:
    """How many designs are done and how long the rest takes, on standard error of a terminal."""

    def __init__(self, total: int, done: int = 0) -> None:
        self.n = done
        self._began = time.monotonic()
        self._bar = click.progressbar(
            length=total,
            label="designs",
            show_eta=True,
            show_pos=True,
            file=sys.stderr,
            hidden=not sys.stderr.isatty(),
            width=24,
        )
        self._bar.update(done)

    def __enter__(self) -> Bar:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def update(self, more: int) -> None:
        """So many more are done."""
        self.n += more
        self._bar.update(more)

    def close(self) -> None:
        """Leave the bar as it stands."""
        self._bar.render_finish()

    def closing_line(self, what: str) -> None:
        """Say on a terminal what was done, and how long it took."""
        if sys.stderr.isatty():
            click.echo(f"{what} in {time.monotonic() - self._began:.1f} s.", err=True)


def ended(stop: Stop, how_far: str) -> int:
    """Say that a signal ended it; the exit status."""
    complain(f"Ended by {SAID.get(stop.reason, stop.reason)}: {how_far}")
    return 128 + signal.Signals[stop.reason]


@contextmanager
def ended_by_signals(stop: Stop) -> Generator[None]:
    """Let Ctrl-C and SIGTERM end the work where it may be ended; a second one ends it at once."""

    def end(number: int, _: object) -> None:
        stop.set(signal.Signals(number).name)
        signal.signal(number, signal.SIG_DFL)

    # A signal that is ignored, as in a shell script's background, stays so.
    numbers = [n for n in (signal.SIGINT, signal.SIGTERM) if signal.getsignal(n) != signal.SIG_IGN]
    before = {number: signal.signal(number, end) for number in numbers}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _scheduler(text: str) -> str:
    try:
        return BY_VARIABLE[SCHEDULER].read(text)
    except ValueError as error:
        raise click.BadParameter(f"{error}.") from None
