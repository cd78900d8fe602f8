"""What the commands that solve many designs share: where they are solved, a bar, an early end."""

from __future__ import annotations

import argparse
import os
import signal
from collections.abc import Generator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from warmbranch_service.command.terminal import Refused, complain
from warmbranch_service.http.settings import BY_VARIABLE

if TYPE_CHECKING:
    from warmbranch.base.stopping import Stop
    from warmbranch_service.sweep.executors import Executor

MOST_PROCESSES = 256
SCHEDULER = "WARMBRANCH_SCHEDULER"
SAID = {"SIGINT": "Ctrl-C"}


def add_executors(parser: argparse.ArgumentParser) -> None:
    """Add the options that say where designs are solved."""
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--processes",
        type=_processes,
        metavar="N",
        help="solve in so many processes; about one a core; default: 1",
    )
    where.add_argument(
        "--scheduler",
        type=_scheduler,
        metavar="tcp://HOST:PORT",
        help=f"solve on the workers of a Dask cluster; default: what {SCHEDULER} says, if set",
    )


def executor_of(given: argparse.Namespace) -> Executor:
    """Where the command line, or else the environment, says."""
    from warmbranch_service.sweep import choosing

    if given.processes is not None:
        return choosing.executor(processes=given.processes)
    if given.scheduler is not None:
        return choosing.executor(scheduler=given.scheduler)
    try:
        return choosing.executor(scheduler=_scheduler(os.environ.get(SCHEDULER, "")))
    except argparse.ArgumentTypeError as error:
        raise Refused(f"{SCHEDULER}={os.environ[SCHEDULER]!r}: {error}.") from None


def bar(total: int, done: int = 0) -> Any:
    """A progress bar on standard error, where that is a terminal."""
    from tqdm import tqdm

    return tqdm(total=total, initial=done, unit=" designs", disable=None, dynamic_ncols=True)


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


def _processes(text: str) -> int:
    if not (text.isascii() and text.isdigit() and 1 <= int(text[:4]) <= MOST_PROCESSES):
        raise argparse.ArgumentTypeError(f"give a whole number from 1 to {MOST_PROCESSES}")
    return int(text)


def _scheduler(text: str) -> str:
    try:
        return BY_VARIABLE[SCHEDULER].read(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
