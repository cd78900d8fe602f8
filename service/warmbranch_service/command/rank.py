"""``warmbranch rank``: which of the varied fields matters most."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from warmbranch_service.command.terminal import OK, Failed, Refused, answered, read
from warmbranch_service.command.under_way import (
    add_executors,
    bar,
    ended,
    ended_by_signals,
    executor_of,
)

DEFAULT_ANSWER = "resonance.quiet_rpm"
DEFAULT_DRAWS = 1024
MOST_DRAWS = 65536

DESCRIPTION = """\
Which of the fields that a sweep varies matters most for a number of its answer? Each gets the share
of the answer's variance that is due to it alone, and the share that it has a part in (first-order
and total Sobol' indices), with the interval that holds 95 %. Needs pip install
'warmbranch[sensitivity]'.
"""

TEACHING = """\
examples:
  warmbranch example sweep > many.json                      a request to change
  warmbranch rank many.json                                 what matters for the quiet rpm
  warmbranch rank many.json --answer resonance.quality_factor
  warmbranch rank many.json --draws 8192 --processes 2      narrower intervals

The request is that of warmbranch sweep. Its fields are drawn from their ranges and distributions,
independently of each other; of values and grids each is as likely. How many are drawn, --draws
tells, not the request. A draw is as many designs as there are varied fields, and two; four times
the draws halve the intervals.

exit status: 0 ranked, 1 failed, 2 the request or the command line holds something impossible.
"""


def add_to(commands: Any) -> None:
    """Add the command to a parser's subcommands."""
    rank: argparse.ArgumentParser = commands.add_parser(
        "rank",
        help="which of a sweep's varied fields matters most, say for the quiet rpm",
        description=DESCRIPTION,
        epilog=TEACHING,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    rank.add_argument("file", metavar="FILE", help="a JSON request; - reads standard input")
    rank.add_argument(
        "--answer",
        default=DEFAULT_ANSWER,
        metavar="NAME",
        help="number of the steady answer, by its path in it; default: %(default)s",
    )
    rank.add_argument(
        "--draws", type=_draws, default=DEFAULT_DRAWS, metavar="N", help="default: %(default)s"
    )
    rank.add_argument("--json", action="store_true", help="print JSON instead of a table")
    add_executors(rank)
    rank.set_defaults(command=_rank)


def _draws(text: str) -> int:
    known = [2**k for k in range(4, 17)]
    if not (text.isascii() and text.isdigit() and int(text[:8]) in known):
        raise argparse.ArgumentTypeError(f"give a power of two from {known[0]} to {MOST_DRAWS}")
    return int(text)


def _rank(given: argparse.Namespace) -> int:
    from warmbranch.base.errors import StoppedError
    from warmbranch.base.stopping import Stop, under
    from warmbranch_service.local import sweep_request_of
    from warmbranch_service.sweep.executors import ExecutorError
    from warmbranch_service.sweep.ranking import RankingError, question, rank, readable_ranking

    request = answered(lambda: sweep_request_of(read(given.file)))
    stop, executor = Stop(), executor_of(given)
    try:
        asked = question(request, given.answer, given.draws)
        with ended_by_signals(stop), under(stop), bar(asked.plan.designs) as progress:
            try:
                ranking = rank(asked, executor, lambda chunk: progress.update(len(chunk.rows)))
            finally:
                progress.close()
                executor.close()
    except StoppedError:
        return ended(stop, "nothing is ranked.")
    except RankingError as error:
        raise Refused(str(error)) from None
    except ExecutorError as error:
        raise Failed(str(error)) from None
    except ImportError as error:
        if not (error.name or "").startswith("SALib"):
            raise
        raise Failed(
            "Ranking needs SALib, which is not installed here: "
            "pip install 'warmbranch[sensitivity]'."
        ) from None
    sys.stdout.write(ranking.model_dump_json() + "\n" if given.json else readable_ranking(ranking))
    return OK
