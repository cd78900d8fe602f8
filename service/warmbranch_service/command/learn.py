"""``warmbranch learn``: what finished jobs say of the next one."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from warmbranch_service.command import help_texts
from warmbranch_service.command.questions import Form, calibration_in, tellings, told
from warmbranch_service.command.terminal import answered, read, write
from warmbranch_service.command.verbatim import Taught

if TYPE_CHECKING:
    from warmbranch_service.learn.answer_schema import LearnAnswer

Done = TypeVar("Done")


@click.command(
    "learn",
    cls=Taught,
    short_help="what several finished jobs say of the next branch",
    help="Learn from finished jobs, as POST /v1/learn does, without a service: JOB is a request "
    "to fit, or a job that the page saved.",
    epilog=help_texts.LEARN,
)
@click.option(
    "--output", metavar="SHOP.json", help="Write what was learned, for --calibration and --shop."
)
@click.option(
    "--add-to", metavar="SHOP.json", help="Add the jobs to what was learned before; it is read."
)
@click.option(
    "--day", metavar="2026-11-29", help="Day to be written into it. Default: today.", default=None
)
@tellings
@click.argument("jobs", metavar="JOB...", nargs=-1)
def learn(
    jobs: tuple[str, ...], output: str | None, add_to: str | None, day: str | None, **form: Any
) -> int:
    """Answer ``warmbranch learn``."""
    from warmbranch_service.learn.request import MOST_JOBS

    request: dict[str, Any] = {"learned_at": day or date.today().isoformat()}
    if add_to is not None:
        request["earlier"] = calibration_in(add_to)
    found: list[dict[str, Any]] = []
    text = b""
    for file in jobs:
        content = read(file)
        text += content
        found.append(_of_file(file, content))
    answer: LearnAnswer | None = None
    for begin in range(0, max(len(found), 1), MOST_JOBS):
        part = found[begin : begin + MOST_JOBS]
        if answer is not None:
            request["earlier"] = answer.calibration.model_dump(mode="json")
        answer = _learned({**request, "jobs": part}, dict(enumerate(jobs[begin:])))
    assert answer is not None, "one round at least"
    if output is not None:
        write(output, answer.calibration.model_dump_json(indent=1) + "\n")
    return told(answer, Form(**form), "learn", text)


def _of_file(file: str, content: bytes) -> dict[str, Any]:
    from warmbranch_service.learn.job_files import finished_job

    name = "standard input" if file == "-" else Path(file).stem
    return _by_file(lambda: finished_job(content, name), {}, file)


def _learned(request: dict[str, Any], files: Mapping[int, str]) -> LearnAnswer:
    from warmbranch_service.local import learn_of

    return _by_file(lambda: learn_of(json.dumps(request).encode()), files)


def _by_file(work: Callable[[], Done], files: Mapping[int, str], whole: str = "") -> Done:
    """Do it, and tell a refusal by the file that it concerns in place of its number."""
    from warmbranch_service.contract.errors import Entry, Problem

    def placed(entry: Entry) -> Entry:
        kind, place, *rest = (*entry.path, "", "")
        file = whole
        path = entry.path
        if kind == "jobs" and isinstance(place, int) and place in files:
            file, path = files[place], tuple(part for part in rest if part != "")
        return entry if not file else replace(entry, path=path, detail=f"In {file}: {entry.detail}")

    def told_by_file() -> Done:
        try:
            return work()
        except Problem as problem:
            parts = problem.parts
            entries = [placed(entry) for entry in parts.entries]
            raise Problem.of(replace(parts, entries=entries)) from None

    return answered(told_by_file)
