"""``POST /v1/listen``: recordings of an engine, heard. Nothing is stored."""

from __future__ import annotations

from typing import Any, cast

from fastapi import APIRouter, Request
from starlette.datastructures import FormData, UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.responses import Response

from warmbranch_service.contract.errors import INVALID, MALFORMED, NOT_JSON, Entry, Problem
from warmbranch_service.contract.forms import CONTENT, MEDIA_TYPES, VARY, form_of, written
from warmbranch_service.http.passage.workshop import Workshop
from warmbranch_service.http.routes.strict_route import (
    check_content_type_length,
    problem_responses,
)
from warmbranch_service.http.settings import Settings
from warmbranch_service.listen.answer_schema import ListenAnswer
from warmbranch_service.listen.recordings import Limits
from warmbranch_service.listen.request import ListenRequest

PATH = "/v1/listen"
MOST_FILES = 8
MULTIPART = "multipart/form-data"

router = APIRouter(tags=["model"])

_FILES: dict[str, Any] = {
    "type": "array",
    "maxItems": MOST_FILES,
    "items": {"type": "string", "format": "binary"},
}
_BODY: dict[str, Any] = {
    "required": True,
    "content": {
        MULTIPART: {
            "schema": {
                "type": "object",
                "required": ["request"],
                "properties": {
                    "request": {"$ref": "#/components/schemas/ListenRequest"},
                    "before": {
                        **_FILES,
                        "description": "Recordings without the branch, or before it was changed.",
                    },
                    "after": {**_FILES, "description": "Recordings with the branch."},
                },
            },
            "examples": {
                "four cylinders": {
                    "summary": "An even four, recorded before and after from one place; files "
                    "are left out here",
                    "value": {
                        "request": {
                            "engine": {"cylinders": 4},
                            "lowest_rpm": 1200,
                            "highest_rpm": 4500,
                            "same_place": True,
                        }
                    },
                }
            },
            "encoding": {"request": {"contentType": "application/json"}},
        }
    },
}


class _InMemory(MultiPartParser):
    """Files stay in memory: nothing of a recording touches a disk."""

    spool_max_size = 2**31


@router.post(
    PATH,
    summary="Engine speed, drone and notch from recordings before and after",
    response_class=Response,
    responses={
        200: {"model": ListenAnswer, "description": "The answer.", "content": CONTENT},
        **problem_responses(400, 413, 415, 422, 500, 503),
    },
    openapi_extra={"requestBody": _BODY},
)
async def listen(request: Request) -> Response:
    """Listen to recordings: WAV, FLAC, OGG or MP3, of one engine before and after.

    Stateless: recordings are read into memory, heard and forgotten.
    """
    workshop: Workshop = request.app.state.workshop
    settings: Settings = request.app.state.settings
    form = form_of(request)
    sent = await _sent(request)
    limits = Limits(seconds=settings.recording_seconds, channels=settings.recording_channels)
    try:
        content = await workshop.run(lambda: _as_bytes(*_parts(sent), limits, form), request)
    finally:
        await sent.close()
    return Response(content, media_type=MEDIA_TYPES[form], headers=VARY)


def _as_bytes(
    body: bytes, before: list[bytes], after: list[bytes], limits: Limits, form: str
) -> bytes:
    # Late: a start of the service does not wait for what few requests need.
    from warmbranch_service.listen.local import listen_to_files

    answer = listen_to_files(body, before=before, after=after, limits=limits)
    return written(answer, form, "listen")


async def _sent(request: Request) -> FormData:
    kind = request.headers.get("content-type", "")
    check_content_type_length(kind)
    if not kind.lower().startswith(MULTIPART):
        raise Problem(
            NOT_JSON,
            f"The body is declared as {kind or 'nothing'}. Send multipart/form-data with the "
            "parts request (JSON), before and after (files).",
        )
    parser = _InMemory(
        request.headers,
        request.stream(),
        max_files=MOST_FILES,
        max_fields=1,
        max_part_size=1024 * 1024,
    )
    try:
        return await parser.parse()
    except MultiPartException as error:
        raise Problem(MALFORMED, f"The parts cannot be read: {error.message}") from None
    except KeyError:
        raise Problem(MALFORMED, "The header Content-Type names no boundary.") from None


def _parts(sent: FormData) -> tuple[bytes, list[bytes], list[bytes]]:
    """The request, recordings before and after; tens of megabytes are copied."""
    files: dict[str, list[bytes]] = {"before": [], "after": []}
    body: bytes | None = None
    for name, part in sent.multi_items():
        content = part.file.read() if isinstance(part, UploadFile) else part.encode()
        if name == "request":
            body = content
        elif name in files:
            files[name].append(content)
        else:
            raise _refused(
                name,
                "unknown_part",
                "There is no such part.",
                "Parts here are: request, before, after.",
            )
    if body is None:
        raise _refused("request", "missing", "The part request is not sent.", "Send it as JSON.")
    return body, files["before"], files["after"]


def _refused(name: str, code: str, detail: str, remedy: str) -> Problem:
    entry = Entry((name[:80],), code, detail, remedy)
    return Problem(INVALID, entry.sentence(), entries=[entry])


def schemas() -> dict[str, Any]:
    """Schemas of the part ``request``, which the framework does not see."""
    found = ListenRequest.model_json_schema(ref_template="#/components/schemas/{model}")
    inner = cast("dict[str, Any]", found.pop("$defs", {}))
    return {**inner, "ListenRequest": found}
