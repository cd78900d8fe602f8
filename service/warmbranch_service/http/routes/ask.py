"""``GET /v1/ask/{question}``: one number, for the web functions of spreadsheets.

    =WEBSERVICE("http://localhost:8000/v1/ask/length?answer=centreline_length_mm&rpm=2350"
      & "&branch.outside_diameter_mm=48.3&branch.wall_thickness_mm=1.5&branch.length_mm=1200"
      & "&main_pipe.outside_diameter_mm=60.3&main_pipe.wall_thickness_mm=1.5"
      & "&main_pipe.gas_temperature_degC=310&engine.cylinders=4")

Fields of the case are named by their paths, values stand as in the JSON, a unit behind a number
included. ``answer`` names a number of the answer, ``table`` a part of it as CSV that charts as it
is; with neither, all of it comes as CSV. It stands beside the contract's POST, which programs
should use: nothing is asked here that is not answered there, with the same refusals.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Path, Request
from pydantic import BaseModel
from starlette.responses import Response

from warmbranch_service.contract.answer_csv import as_csv
from warmbranch_service.contract.errors import INVALID, NOT_FOUND, Entry, Problem
from warmbranch_service.http.routes.strict_route import problem_responses
from warmbranch_service.job import PARTS, Job

if TYPE_CHECKING:
    from warmbranch_service.contract.whole_answer import WholeAnswer
    from warmbranch_service.http.passage.workshop import Workshop

router = APIRouter(tags=["model"])

QUESTIONS = ("steady", "length", "warmup")
SHORT = ("rpm", "Hz")
PLAIN, TABLE = "text/plain; charset=utf-8", "text/csv; charset=utf-8; header=present"

_FIELDS: dict[str, Any] = {
    "name": "fields",
    "in": "query",
    "required": True,
    "description": "Fields of the question by their paths, each a parameter of its own: "
    "branch.outside_diameter_mm=48.3. Values stand as in the JSON of the POST, or as a string "
    "with a unit of its own.",
    "style": "form",
    "explode": True,
    "schema": {
        "type": "object",
        "additionalProperties": {"type": "string"},
    },
    "example": {
        "branch.outside_diameter_mm": "48.3",
        "branch.wall_thickness_mm": "1.5",
        "branch.length_mm": "1200",
        "main_pipe.outside_diameter_mm": "2.375 in",
        "main_pipe.wall_thickness_mm": "1.5",
        "main_pipe.gas_temperature_degC": "590 F",
        "engine.cylinders": "4",
    },
}


def _one(name: str, description: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {
        "name": name,
        "in": "query",
        "required": False,
        "description": description,
        "schema": schema,
    }


_PARAMETERS = [
    _FIELDS,
    _one(
        "answer",
        "Path of the one number that is wanted, such as resonance.quiet_rpm. Default: all of the "
        "answer, as CSV.",
        {"type": "string", "examples": ["resonance.quiet_rpm"]},
    ),
    _one(
        "table",
        "A part of the answer as CSV that charts as it is. Default: none.",
        {"type": "string", "examples": ["profile"]},
    ),
    _one(
        "rpm",
        "Of length alone: engine speed in rpm that is to fall quiet.",
        {"type": "number", "examples": [2350]},
    ),
    _one("Hz", "Of length alone: the tone itself.", {"type": "number", "examples": [78.3]}),
]


@router.get(
    "/v1/ask/{question}",
    summary="One number, or a table, by an address alone, for spreadsheets",
    response_class=Response,
    openapi_extra={"parameters": _PARAMETERS},
    responses={
        200: {
            "description": "The number, or a table.",
            "content": {
                "text/plain": {"schema": {"type": "string", "examples": ["2350.1"]}},
                "text/csv": {"schema": {"type": "string"}},
            },
        },
        **problem_responses(404, 422, 503),
    },
)
async def ask(
    question: Annotated[
        str,
        Path(
            description="What is asked, as the POST of that name.",
            examples=["steady"],
            json_schema_extra={"enum": list(QUESTIONS)},
        ),
    ],
    request: Request,
) -> Response:
    """Answer one question whose request stands in the address, as the POST of its name would."""
    if question not in QUESTIONS:
        known = ", ".join(f"/v1/ask/{name}" for name in QUESTIONS)
        raise Problem(NOT_FOUND, f"There is no such question. Ask {known}.")
    given = request.query_params.multi_items()
    workshop: Workshop = request.app.state.workshop
    text, form = await workshop.run(lambda: answered(question, given), request)
    return Response(text, media_type=form)


def answered(question: str, given: list[tuple[str, str]]) -> tuple[str, str]:
    """The text of an answer, and its media type.

    Raises
    ------
    Problem
        As the POST of the question, or where the address itself makes no sense.
    """
    fields = dict(given)
    if len(fields) != len(given):
        name = next(name for name, _ in given if sum(name == n for n, _ in given) > 1)
        raise _refused(name, "This stands twice.", "Give it once.")
    answer_path, table = fields.pop("answer", None), fields.pop("table", None)
    job, asked = Job(), dict[str, Any]()
    for name, text in fields.items():
        if name in SHORT:
            asked[name] = _value(text)
        elif name.removeprefix("case.").partition(".")[0] in PARTS:
            try:
                job = job.changed(name, _value(text))
            except KeyError as error:
                raise _refused(name, f"{error.args[0]}", "Give the path of a field.") from None
        else:
            asked[name] = _value(text)
    if question != "length" and asked.keys() & set(SHORT):
        raise _refused("rpm", "Only a length is asked for an engine speed.", "Leave it out.")
    if len(asked.keys() & set(SHORT)) > 1:
        raise _refused("Hz", "rpm and Hz are both given.", "Give one of them.")
    answer: WholeAnswer = getattr(job, question)(**asked)
    if table is not None:
        try:
            return answer.to_csv(table), TABLE
        except ValueError as error:
            raise _refused("table", str(error).partition(". ")[0] + ".", _rest(error)) from None
    if answer_path is None:
        return as_csv(answer, question), TABLE
    return _number(answer, answer_path), PLAIN


def _number(answer: BaseModel, path: str) -> str:
    """One value of the answer; nothing where it is null."""
    here: Any = answer.model_dump(mode="json")
    for part in re.sub(r"\[(\d+)\]", r".\1", path).split("."):
        try:
            here = here[int(part) if part.isdigit() else part]
        except (KeyError, IndexError, TypeError, ValueError):
            remedy = "Give the path of a number, such as resonance.quiet_rpm; see /v1/docs."
            raise _refused("answer", f"The answer has no {path[:60]}.", remedy) from None
    if isinstance(here, (dict, list)):
        raise _refused("answer", f"{path[:60]} is no single number.", "Give table= instead.")
    return "" if here is None else str(here)


def _value(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return text


def _rest(error: ValueError) -> str:
    return str(error).partition(". ")[2]


def _refused(name: str, detail: str, remedy: str) -> Problem:
    entry = Entry((name,), "no_question", detail, remedy)
    return Problem(INVALID, entry.sentence(), entries=[entry])
