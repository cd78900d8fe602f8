"""``warmbranch sweep``: many designs, written down while they are solved."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

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
from warmbranch_service.demo import UNCERTAIN_VAN

if TYPE_CHECKING:
    from warmbranch.base.stopping import Stop
    from warmbranch_service.sweep.executors import Executor
    from warmbranch_service.sweep.plan import Plan
    from warmbranch_service.sweep.writing import Writer

EXAMPLES = {"sweep": UNCERTAIN_VAN}

ENDINGS = {".ndjson": "ndjson", ".jsonl": "ndjson", ".csv": "csv", ".parquet": "parquet"}
FORMATS = ("ndjson", "csv", "parquet")

DESCRIPTION = """\
Solve many designs of one case, as POST /v1/sweep does, without a service: any fields of the case
over lists, grids, ranges or distributions, any numbers of the answer.
"""

TEACHING = """\
examples:
  warmbranch example sweep > many.json   a request: what varies, and how
  warmbranch sweep many.json             a line of JSON a design
  warmbranch sweep many.json --output many.csv   a table, a design a row
  warmbranch sweep many.json --output many.parquet   for pandas, DuckDB, ...
  warmbranch sweep many.json --output many.csv --resume   go on after Ctrl-C
  warmbranch sweep many.json --processes 4   on four cores
  warmbranch sweep many.json --scheduler tcp://desk:8786   on a Dask cluster

"vary" in the request names fields as they stand in it,
"case.branch.centreline[2].straight_mm", and gives each its "values", a "grid",
or a range or distribution: "uniform", "normal", "lognormal". "sampling" says
how they are put together: by "grid", every combination; by "list", one after
the other; by "sobol" or "latin hypercube", so many drawn. "outputs" names
numbers of the steady answer; --interval, or "interval": true, adds the 50 and
90 % interval of the quiet rpm. Parquet needs pip install 'warmbranch[parquet]'.

Ctrl-C, or SIGTERM, ends it and keeps what is done; the same command with
--resume goes on there. A file that was cut off by force can be gone on with,
too, unless it is Parquet, whose end is written last. What --resume gives is
the same, to the byte, as a run that was never ended.

A cluster is a scheduler and workers, on machines that each have
pip install 'warmbranch[cluster]':

  dask scheduler                                        tells its address
  dask worker tcp://desk:8786 --nworkers -1 --nthreads 1   one process a core

Workers may come and go; what a lost one had is done again, and written once.

exit status: 0 all designs are written, 1 failed, 2 the request or the command
line holds something impossible, 130 ended by Ctrl-C, 143 by SIGTERM.
"""


def example_text() -> str:
    """A request to start from."""
    from warmbranch_service.sweep.examples import example_text

    return example_text()


@dataclass(frozen=True)
class Given:
    """What stood on the command line."""

    file: str
    output: str | None
    form: str | None
    resume: bool
    processes: int | None
    scheduler: str | None
    interval: bool


@click.command(
    "sweep",
    cls=Taught,
    short_help="many designs: fields over lists, grids, ranges or distributions",
    help=DESCRIPTION,
    epilog=TEACHING,
)
@click.argument("file", metavar="FILE")
@click.option(
    "--output",
    metavar="FILE",
    help="Write there; its ending tells the format: .ndjson, .csv or .parquet.",
)
@click.option(
    "--format", "form", type=click.Choice(FORMATS), help="Whatever the ending. Default: ndjson."
)
@click.option(
    "--resume", is_flag=True, help="Go on where the file of --output ends, if there is one."
)
@click.option("--interval", is_flag=True, help="Tell the interval of each design's quiet rpm, too.")
@executors
def sweep(
    file: str,
    output: str | None,
    form: str | None,
    *,
    resume: bool,
    processes: int | None,
    scheduler: str | None,
    interval: bool,
) -> int:
    """Answer ``warmbranch sweep``."""
    return _sweep(Given(file, output, form, resume, processes, scheduler, interval))


def _sweep(given: Given) -> int:
    form = _format(given.output, given.form)
    if given.resume and given.output is None:
        raise Refused("--resume goes on with a file. Name it: --output FILE.")
    # Late: half of the start is loading, and --help needs none of it.
    from warmbranch.base.stopping import Stop, under
    from warmbranch_service.local import sweep_request_of
    from warmbranch_service.sweep.plan import Plan
    from warmbranch_service.sweep.writers import to_file, to_standard_output
    from warmbranch_service.sweep.writing import WritingError

    request = answered(lambda: sweep_request_of(read(given.file)))
    if given.interval:
        request = request.model_copy(update={"interval": True})
    plan = Plan(request)
    if request.from_line > 1 and (given.output is not None or form != "ndjson"):
        raise Refused(
            "from_line in the request begins amid the lines, which standard output takes. To go "
            "on with a file, leave from_line out and add --resume."
        )
    stop, executor = Stop(), executor_of(given.processes, given.scheduler)
    try:
        if given.output is None:
            writer = to_standard_output(plan, form, request.from_line)
        else:
            writer = to_file(plan, Path(given.output), form, resume=given.resume)
    except WritingError as error:
        raise Refused(str(error)) from None
    with ended_by_signals(stop), under(stop):
        return _run(given, plan, writer, executor, stop)


def _run(given: Given, plan: Plan, writer: Writer, executor: Executor, stop: Stop) -> int:
    from warmbranch.base.errors import StoppedError
    from warmbranch_service.sweep.executors import ExecutorError
    from warmbranch_service.sweep.writing import WritingError

    with Bar(plan.designs, writer.designs) as progress:
        try:
            try:
                for chunk in executor.solved(plan, range(writer.first, plan.chunks)):
                    writer.write(chunk)
                    progress.update(writer.designs - progress.n)
                writer.end()
            finally:
                executor.close()
                writer.close()
        except StoppedError:
            progress.close()
            return ended(stop, _how_far(given, plan, writer))
        except (ExecutorError, WritingError) as error:
            progress.close()
            raise Failed(f"{error}\n{_how_far(given, plan, writer)}") from None
    where = "" if given.output is None else f" written to {given.output}"
    progress.closing_line(f"{plan.designs} designs{where}")
    return OK


def _how_far(given: Given, plan: Plan, writer: Writer) -> str:
    """What is kept, and how to go on."""
    told = f"{writer.designs} of {plan.designs} designs are written."
    if given.output is not None:
        return f"{told} The same command with --resume goes on from there."
    if writer.next_line is None:
        return f"{told} Only a file can be gone on with: --output FILE."
    return f'{told} "from_line": {writer.next_line} in the request goes on from there.'


def _format(output: str | None, form: str | None) -> str:
    if form is None and output is not None:
        form = ENDINGS.get(Path(output).suffix.lower())
        if form is None:
            known = ", ".join(ENDINGS)
            raise Refused(f"{output} does not end with {known}: add --format.")
    if form == "parquet" and output is None:
        raise Refused("Parquet is written to a file. Name it: --output FILE.parquet.")
    return form or "ndjson"
