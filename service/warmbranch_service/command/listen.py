"""``warmbranch listen``: recordings of an engine heard, without a service."""

from __future__ import annotations

import argparse
import json
import sys
from typing import Any

from warmbranch_service.command.terminal import OK, Refused, answered, read, write_bytes

TEXT = """\
The recordings are WAV, FLAC, OGG or MP3; with the extra phone (pip install "warmbranch[phone]")
also what phones write: M4A, 3GP, WebM. Nothing of them is kept.

How to record: one gear, third or so; from idle up slowly, twenty seconds for the whole range;
windows and doors shut, radio and fan off, nobody speaks; the phone strapped in one place, the same
before and after. A passenger records: never touch a phone while driving. At a stand, only in the
open air: exhaust gas kills.

example:
  warmbranch listen after.wav --before before.wav --engine 4 --rpm 1200 4500 --same-place
"""


def add_to(commands: Any) -> None:
    """Add the command."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "listen",
        help="hear engine speed, drone and quiet rpm in recordings before and after",
        description="Listen to recordings, as POST /v1/listen does, without a service.",
        epilog=TEXT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("after", nargs="*", metavar="FILE", help="recordings with the branch")
    parser.add_argument(
        "--before", nargs="+", default=[], metavar="FILE", help="recordings without the branch"
    )
    parser.add_argument(
        "--request", metavar="FILE", help="a JSON request with engine or case; - standard input"
    )
    parser.add_argument(
        "--engine", type=int, metavar="CYLINDERS", help="cylinders of an even four-stroke engine"
    )
    parser.add_argument(
        "--rpm",
        nargs=2,
        type=float,
        metavar=("LOWEST", "HIGHEST"),
        help="engine speeds in the recordings, roughly",
    )
    parser.add_argument(
        "--same-place",
        action="store_true",
        help="the recorder lay in one place before and after",
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON instead of a table")
    form.add_argument("--csv", action="store_true", help="print CSV: section,row,field,value,unit")
    parser.add_argument("--plot", metavar="FILE.png", help="also draw it; needs the extra plot")
    parser.set_defaults(command=_listen)


def _listen(given: argparse.Namespace) -> int:
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
        write_bytes(given.plot, picture)
    if given.csv:
        text = as_csv(answer, "listen")
    else:
        text = answer.model_dump_json() + "\n" if given.json else readable_listen(answer)
    sys.stdout.write(text)
    return OK


def _body(given: argparse.Namespace) -> bytes:
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
