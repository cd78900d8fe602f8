"""The commands that ask one question of one branch: steady, length, warmup, fit."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from warmbranch_service.command import help_texts
from warmbranch_service.command.terminal import (
    OK,
    Failed,
    Refused,
    answered,
    read,
    read_text,
    show,
    write,
)
from warmbranch_service.command.verbatim import Taught

if TYPE_CHECKING:
    from warmbranch_service.contract.whole_answer import WholeAnswer
    from warmbranch_service.job import Job

Command = TypeVar("Command", bound=Callable[..., Any])


@dataclass(frozen=True)
class Form:
    """How an answer is told."""

    full: bool
    brief: bool
    json: bool
    csv: bool
    table: str | None
    plot: bool
    png: str | None
    svg: str | None
    units: str | None


def tellings(command: Command) -> Command:
    """Add the options that say how an answer is told."""
    for option in reversed(
        (
            click.option("--full", is_flag=True, help="Tell cautions and safety at length."),
            click.option("--brief", is_flag=True, help="The answer in one line."),
            click.option("--json", is_flag=True, help="JSON, as the service gives it."),
            click.option("--csv", is_flag=True, help="CSV: section,row,field,value,unit."),
            click.option(
                "--table",
                metavar="PART",
                help="One part as CSV that charts as it is: profile, attenuation, series, "
                "trim_steps, ...",
            ),
            click.option(
                "--units",
                type=click.Choice(["mm", "both"]),
                help="Sentences in mm and °C alone, or in inches and °F as well. Default: both "
                "where the request is in those.",
            ),
            click.option("--plot", is_flag=True, help="Also show a picture in a window."),
            click.option("--png", metavar="FILE", help="Also write the picture to a file."),
            click.option("--svg", metavar="FILE", help="The same as a drawing for print."),
        )
    ):
        command = option(command)
    return command


def forms(command: Command) -> Command:
    """Add FILE, what changes it, and the options that say how an answer is told."""
    command = click.option(
        "--set",
        "changes",
        metavar="FIELD=VALUE",
        multiple=True,
        help="Change a field of FILE's case for this answer: "
        "--set main_pipe.gas_temperature_degC=340; or one beside the case: "
        "--set while_read.air_speed_m_s=0.5. May stand more than once.",
    )(command)
    return click.argument("file", metavar="FILE")(tellings(command))


_calibration = click.option(
    "--calibration",
    metavar="LEARNED.json",
    help="What a fit or finished jobs taught, as fit --calibration or learn --output wrote it.",
)


def told(answer: WholeAnswer, form: Form, section: str, request: bytes) -> int:
    """Tell an answer as the options ask; sentences in the units of the request."""
    from warmbranch_service.contract.own_units import both_units, measures_in_inches

    both = measures_in_inches(request) if form.units is None else form.units == "both"
    with both_units(both):
        return _written(answer, form, section)


def _written(answer: WholeAnswer, form: Form, section: str) -> int:
    if sum((form.full, form.brief, form.json, form.csv, form.table is not None)) > 1:
        raise click.UsageError(
            "--full, --brief, --json, --csv and --table: one of them is allowed."
        )
    for name in (form.png, form.svg):
        if name is not None:
            _picture(answer, name, "png" if name == form.png else "svg")
    if form.json:
        sys.stdout.write(answer.to_json().decode() + "\n")
    elif form.csv:
        from warmbranch_service.contract.answer_csv import as_csv

        sys.stdout.write(as_csv(answer, section))
    elif form.table is not None:
        try:
            sys.stdout.write(answer.to_csv(form.table))
        except ValueError as error:
            raise Refused(f"--table: {error}") from None
    elif form.brief:
        sys.stdout.write(answer.report().partition("\n  ")[0].replace("\n", " ") + "\n")
    else:
        show(answer.report(full=form.full))
    if form.plot:
        _window(answer)
    return OK


def _figure(answer: WholeAnswer) -> Any:
    from warmbranch_service.contract.missing_extra import MissingExtraError

    try:
        return answer.plot()
    except MissingExtraError as error:
        raise Failed(str(error)) from None


def _picture(answer: WholeAnswer, name: str, kind: str) -> None:
    import io

    drawn = io.BytesIO()
    _figure(answer).savefig(drawn, format=kind)
    write(name, drawn.getvalue())


def _window(answer: WholeAnswer) -> None:
    """The picture by whatever program of the user's shows one."""
    import tempfile

    folder = Path(tempfile.mkdtemp(prefix="warmbranch-"))
    name = str(folder / "answer.png")
    _picture(answer, name, "png")
    if click.launch(name) != 0:
        raise Failed(f"No program here shows pictures. It is at {name}; --png FILE writes it.")


def _body(file: str, changes: tuple[str, ...], calibration: str | None) -> bytes:
    """The request in a file, as it stands where the command line changes nothing."""
    if not changes and calibration is None:
        return _request(file)
    return _job(file, changes, calibration).to_json().encode()


def _request(file: str) -> bytes:
    """The request in a file, which a job of the page's is not: its cuts stand beside its case."""
    content = read(file)
    if b'"warmbranch_job"' in content:
        raise Refused(
            f"{file} is a job that the page saved, not a request. Open it with the page; "
            "warmbranch learn takes it as it is."
        )
    return content


def _job(file: str, changes: tuple[str, ...], calibration: str | None = None) -> Job:
    """The request in a file, with the changes of the command line."""
    from warmbranch_service.job import Job

    job = answered(lambda: Job.from_json(_request(file)))
    if calibration is not None:
        job = job.changed("closures.calibration", calibration_in(calibration))
    for change in changes:
        field, equals, text = change.partition("=")
        if not equals:
            raise Refused(f"--set {change}: give FIELD=VALUE, as in engine.cylinders=6.")
        try:
            job = job.changed(field.strip(), _value(text.strip()))
        except KeyError as error:
            raise Refused(f"--set {change}: {error.args[0]}") from None
    return job


def calibration_in(file: str) -> dict[str, Any]:
    """The calibration in a file: by itself, or within an answer to fit or learn."""
    try:
        found: Any = json.loads(read(file))
    except ValueError:
        raise Refused(f"{file} is no JSON. Give what fit or learn wrote.") from None
    if isinstance(found, dict):
        own = cast("dict[str, Any]", found)
        found = own.get("calibration", own if "covariance" in own else None)
    if not isinstance(found, dict):
        raise Refused(f"{file} holds no calibration. Give what fit or learn wrote.")
    return cast("dict[str, Any]", found)


def _value(text: str) -> Any:
    """A number, true, null or a list as JSON has it, or with a decimal comma; else the text."""
    if re.fullmatch(r"[+-]?(?:0,\d+|\d+,(?:\d{1,2}|\d{4,}))", text):
        return float(text.replace(",", "."))
    try:
        return json.loads(text)
    except ValueError:
        return text


@click.command(
    "steady",
    cls=Taught,
    short_help="temperatures, resonance and quiet rpm of a branch, warm",
    help="Answer the request in FILE (- reads standard input), as POST /v1/steady does, without a "
    "service.",
    epilog=help_texts.STEADY,
)
@_calibration
@forms
def steady(file: str, changes: tuple[str, ...], calibration: str | None, **form: Any) -> int:
    """Answer ``warmbranch steady``."""
    from warmbranch_service.local import steady_of

    body = _body(file, changes, calibration)
    return told(answered(lambda: steady_of(body)), Form(**form), "steady", body)


@click.command(
    "warmup",
    cls=Taught,
    short_help="the quiet rpm from a cold start to warm, over weather and load",
    help="Follow the branch while it warms up, as POST /v1/warmup does, without a service.",
    epilog=help_texts.WARMUP,
)
@_calibration
@forms
def warmup(file: str, changes: tuple[str, ...], calibration: str | None, **form: Any) -> int:
    """Answer ``warmbranch warmup``."""
    from warmbranch_service.local import warmup_of

    body = _body(file, changes, calibration)
    return told(answered(lambda: warmup_of(body)), Form(**form), "warmup", body)


@click.command(
    "length",
    cls=Taught,
    short_help="how long to build it, how to trim it, what to cut",
    help="Find the length for a target, as POST /v1/length does, without a service.",
    epilog=help_texts.LENGTH,
)
@click.option("--rpm", help="What drones, as engine speed: takes the place of FILE's target.")
@click.option("--hz", help="The same as a tone.")
@_calibration
@forms
def length(
    file: str,
    changes: tuple[str, ...],
    rpm: str | None,
    hz: str | None,
    calibration: str | None,
    **form: Any,
) -> int:
    """Answer ``warmbranch length``."""
    from warmbranch_service.local import length_of

    if rpm is not None and hz is not None:
        raise click.UsageError("--rpm and --hz: one of them is allowed.")
    if rpm is not None or hz is not None or changes or calibration is not None:
        job = _job(file, changes, calibration)
        rpm_given, hz_given = (None if x is None else _value(x) for x in (rpm, hz))
        body = job.to_json().encode()
        answer = answered(lambda: job.length(rpm=rpm_given, Hz=hz_given))
    else:
        body = _request(file)
        answer = answered(lambda: length_of(body))
    return told(answer, Form(**form), "length", body)


@click.command(
    "fit",
    cls=Taught,
    short_help="fit to thermometer readings and to what was heard; what to cut",
    help="Fit the model to readings and to quiet rpm heard, as POST /v1/fit does, without a "
    "service.",
    epilog=help_texts.FIT,
)
@click.option(
    "--readings",
    metavar="FILE.csv",
    help="Readings beside those in FILE, one a line, the first line naming the columns: "
    "position, temperature, surface, ... as a spreadsheet saves them.",
)
@click.option(
    "--since-start",
    metavar="TIME",
    help='How long the engine had run from cold when you read and listened: "25 min". The '
    "request's time_s; untold, the advice keeps some of the cut back.",
)
@click.option(
    "--calibration",
    metavar="OUT.json",
    help="Also write the calibration to a file, for case.closures.calibration.",
)
@click.option(
    "--shop",
    metavar="SHOP.json",
    help="Begin with what finished jobs taught, as learn --output wrote it.",
)
@forms
def fit(
    file: str,
    changes: tuple[str, ...],
    readings: str | None,
    since_start: str | None,
    calibration: str | None,
    shop: str | None,
    **form: Any,
) -> int:
    """Answer ``warmbranch fit``."""
    from warmbranch_service.contract.strict_json import parse
    from warmbranch_service.local import fit_of

    if calibration is not None:
        _refuse_to_lose_a_shop(calibration)
    table = None if readings is None else read_text(readings)
    body = _body(file, changes, shop)
    if since_start is not None:
        asked = answered(lambda: parse(body))
        if isinstance(asked, dict):  # else it is refused as what it is
            body = json.dumps(asked | {"time_s": _value(since_start)}).encode()
    answer = answered(lambda: fit_of(body, table, readings or ""))
    if calibration is not None:
        write(calibration, answer.calibration.model_dump_json(indent=1) + "\n")
    return told(answer, Form(**form), "fit", body + (table or "").encode())


def _refuse_to_lose_a_shop(file: str) -> None:
    """``--calibration`` is where a fit writes; what many jobs taught is not written over."""
    try:
        found: Any = json.loads(Path(file).read_bytes())
    except (OSError, ValueError):
        return
    if isinstance(found, dict) and cast("dict[str, Any]", found).get("shop") is not None:
        raise Refused(
            f"{file} holds what finished jobs taught, and --calibration would write over it. Give "
            f"--shop {file} to begin with it, and another name to --calibration."
        )
