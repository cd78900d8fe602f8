"""``warmbranch rank``: which of the varied fields matters most."""

from __future__ import annotations

import sys

import click

from warmbranch_service.command.terminal import OK, Failed, Refused, answered, read
from warmbranch_service.command.under_way import (
    Bar,
    ended,
    ended_by_signals,
    executor_of,
    executors,
)
from warmbranch_service.command.verbatim import Taught

DEFAULT_ANSWER = "resonance.quiet_rpm"
DEFAULT_DRAWS = 1024
MOST_DRAWS = 65536

DESCRIPTION = """\
Which of the fields that a sweep varies matters most for a number of its answer? Each gets the share
of the answer's variance that is due to it alone, and the share that it has a part in (first-order
and total Sobol' indices), with the interval that holds 95 %.
"""

TEACHING = """\
examples:
  warmbranch example sweep > many.json   a request to change
  warmbranch rank many.json              what matters for the quiet rpm
  warmbranch rank many.json --answer resonance.quality_factor
  warmbranch rank many.json --draws 8192 --processes 2   narrower intervals

The request is that of warmbranch sweep. Its fields are drawn from their ranges and distributions,
independently of each other; of values and grids each is as likely. How many are drawn, --draws
tells, not the request. A draw is as many designs as there are varied fields, and two; four times
the draws halve the intervals.

exit status: 0 ranked, 1 failed, 2 the request or the command line holds something impossible.
"""


def _draws(_ctx: click.Context, _option: click.Parameter, draws: str) -> int:
    known = {str(2**k): 2**k for k in range(4, 17)}
    if draws not in known:
        raise click.BadParameter(f"give a power of two from 16 to {MOST_DRAWS}")
    return known[draws]


@click.command(
    "rank",
    cls=Taught,
    short_help="which of a sweep's varied fields matters most, say for the quiet rpm",
    help=DESCRIPTION,
    epilog=TEACHING,
)
@click.argument("file", metavar="FILE")
@click.option(
    "--answer",
    default=DEFAULT_ANSWER,
    show_default=True,
    metavar="NAME",
    help="Number of the steady answer, by its path in it.",
)
@click.option(
    "--draws", metavar="N", callback=_draws, default=str(DEFAULT_DRAWS), show_default=True
)
@click.option("--json", "as_json", is_flag=True, help="JSON instead of a table.")
@executors
def rank(
    file: str,
    answer: str,
    draws: int,
    *,
    as_json: bool,
    processes: int | None,
    scheduler: str | None,
) -> int:
    """Answer ``warmbranch rank``."""
    from warmbranch.base.errors import StoppedError
    from warmbranch.base.stopping import Stop, under
    from warmbranch_service.local import sweep_request_of
    from warmbranch_service.sweep.executors import ExecutorError
    from warmbranch_service.sweep.ranking import RankingError, question, readable_ranking
    from warmbranch_service.sweep.ranking import rank as ranked

    request = answered(lambda: sweep_request_of(read(file)))
    stop, executor = Stop(), executor_of(processes, scheduler)
    try:
        asked = question(request, answer, draws)
        with ended_by_signals(stop), under(stop), Bar(asked.plan.designs) as progress:
            try:
                ranking = ranked(asked, executor, lambda chunk: progress.update(len(chunk.rows)))
            finally:
                progress.close()
                executor.close()
    except StoppedError:
        return ended(stop, "nothing is ranked.")
    except RankingError as error:
        raise Refused(str(error)) from None
    except ExecutorError as error:
        raise Failed(str(error)) from None
    sys.stdout.write(ranking.model_dump_json() + "\n" if as_json else readable_ranking(ranking))
    return OK
