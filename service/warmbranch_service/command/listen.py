"""``warmbranch listen``: recordings of an engine heard, without a service."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from typing import Any

import click

from warmbranch_service.command.terminal import OK, Refused, answered, read, write
from warmbranch_service.command.verbatim import Taught

TEXT = """\
The recordings are WAV, FLAC, OGG or MP3; with the extra phone
(pip install "warmbranch[phone]") also what phones write: M4A, 3GP, WebM. Nothing of them is kept.

How to record: one gear, third or so; from idle up slowly, twenty seconds for the whole range;
windows and doors shut, radio and fan off, nobody speaks; the phone strapped in one place, the same
before and after. A passenger records: never touch a phone while driving. At a stand, only in the
open air: exhaust gas kills.

example:
  warmbranch listen after.wav --before before.wav --engine 4 --rpm 1200 4500
"""


class Greedy(Taught):
    """A command whose ``--before`` takes all files up to the next option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the command line, each further file with a ``--before`` of its own."""
        spread: list[str] = []
        takes, has_one = False, False
        for arg in args:
            if arg.startswith("-") and arg != "-":
                takes, has_one = arg == "--before", False
            elif takes and has_one:
                spread.append("--before")
            else:
                has_one = takes
            spread.append(arg)
        return super().parse_args(ctx, spread)


@dataclass(frozen=True)
class Given:
    """What stood on the command line."""

    after: tuple[str, ...]
    before: tuple[str, ...]
    request: str | None
    engine: int | None
    rpm: tuple[float, float] | None
    same_place: bool
    json: bool
    csv: bool
    plot: str | None


@click.command(
    "listen",
    cls=Greedy,
    short_help="hear engine speed, drone and quiet rpm in recordings",
    help="Listen to recordings before and after, as POST /v1/listen does, without a service.",
    epilog=TEXT,
)
@click.argument("after", nargs=-1, metavar="[FILE]...")
@click.option("--before", multiple=True, metavar="FILE...", help="Recordings without the branch.")
@click.option(
    "--request", metavar="FILE", help="A JSON request with engine or case; - reads input."
)
@click.option(
    "--engine", type=int, metavar="CYLINDERS", help="Cylinders of an even four-stroke engine."
)
@click.option(
    "--rpm",
    nargs=2,
    type=float,
    metavar="LOWEST HIGHEST",
    help="Engine speeds in the recordings, roughly.",
)
@click.option("--same-place", is_flag=True, help="The recorder lay in one place before and after.")
@click.option("--json", is_flag=True, help="JSON instead of a table.")
@click.option("--csv", is_flag=True, help="CSV: section,row,field,value,unit.")
@click.option("--plot", metavar="FILE.png", help="Also draw it; needs the extra plot.")
def listen(**given: Any) -> int:
    """Answer ``warmbranch listen``."""
    if given["json"] and given["csv"]:
        raise click.UsageError("--json and --csv: one of them is allowed.")
    return _listen(Given(**given))


def _listen(given: Given) -> int:
    from warmbranch_service.contract.answer_csv import as_csv
    from warmbranch_service.listen.local import listen_to_files
    from warmbranch_service.listen.recordings import Limits
    from warmbranch_service.listen.table import readable_listen

    body = _body(given)
    answer = answered(
        lambda: listen_to_files(
            body,
            before=[read(name) for name in given.before],
            after=[read(name) for name in given.after],
            limits=Limits(phone=True),
        )
    )
    if given.plot is not None:
        from warmbranch_service.listen.plot import NoPlot, drawn

        try:
            picture = drawn(answer)
        except NoPlot as error:
            raise Refused(str(error)) from None
        write(given.plot, picture)
    if given.csv:
        text = as_csv(answer, "listen")
    else:
        text = answer.model_dump_json() + "\n" if given.json else readable_listen(answer)
    sys.stdout.write(text)
    return OK


def _body(given: Given) -> bytes:
    """The request: from a file, with what stands on the command line set in it."""
    value: Any = {}
    if given.request is not None:
        text = read(given.request)
        try:
            value = json.loads(text)
        except ValueError:
            return text  # refused, with its place, where every request is read
        if not isinstance(value, dict):
            return text
    if given.engine is not None:
        value["engine"] = {"cylinders": given.engine}
    if given.rpm is not None:
        value["lowest_rpm"], value["highest_rpm"] = given.rpm
    if given.same_place:
        value["same_place"] = True
    return json.dumps(value).encode()
