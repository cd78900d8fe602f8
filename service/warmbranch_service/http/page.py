"""The bench page: ``GET /`` and its parts, plain files of the folder ``page``.

The page keeps no physics; it asks the routes under ``/v1``. It is no part of the contract, hence
not in the OpenAPI document.
"""

from __future__ import annotations

from http import HTTPStatus
from importlib.resources import files

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from warmbranch_service.contract.errors import NOT_FOUND, Problem
from warmbranch_service.http.conditional import answered, etag_of
from warmbranch_service.length.examples import example_text

MEDIA_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
INDEX = "index.html"
DEMO = "van.json"

_FOLDER = files("warmbranch_service") / "page"
NAMES = frozenset(part.name for part in _FOLDER.iterdir() if part.name.endswith(tuple(MEDIA_TYPES)))
"""What the folder ships. Only these are served, so no path leads out of it."""

HEADERS = {
    # Kept, but asked for again each time: after an upgrade nobody runs half of an old page.
    "cache-control": "no-cache",
    "content-security-policy": "default-src 'self'; object-src 'none'; frame-ancestors 'none'; "
    "base-uri 'none'; form-action 'none'",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}

router = APIRouter(include_in_schema=False)


@router.api_route("/", methods=["GET", "HEAD"])
async def index(request: Request) -> Response:
    """The page itself."""
    return _file(request, INDEX)


@router.api_route("/favicon.ico", methods=["GET", "HEAD"])
async def favicon() -> Response:
    """What browsers ask for of their own accord."""
    return RedirectResponse("/page/favicon.svg", HTTPStatus.MOVED_PERMANENTLY, HEADERS)


@router.api_route("/page/{name}", methods=["GET", "HEAD"])
async def part(name: str, request: Request) -> Response:
    """A style sheet, a module, a picture or the invented van."""
    if name not in NAMES and name != DEMO:
        raise Problem(NOT_FOUND, "The page has no such part.")
    return _file(request, name)


def _file(request: Request, name: str) -> Response:
    """The file, or 304 when the browser has it."""
    if name == DEMO:
        content, media_type = example_text("length").encode(), "application/json"
    else:
        content = (_FOLDER / name).read_bytes()
        media_type = MEDIA_TYPES[name[name.rindex(".") :]]
    return answered(request, content, etag=etag_of(content), media_type=media_type, headers=HEADERS)
