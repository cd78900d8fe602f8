"""The bench page: ``GET /`` and its parts, plain files of the folder ``page``.

The page keeps no physics; it asks the routes under ``/v1``. It is no part of the contract, hence
not in the OpenAPI document. Its modules come as one file and its style sheets as another, each put
together and compressed once: see page_bundle.py.
"""

from __future__ import annotations

import asyncio
import gzip
import json
from dataclasses import dataclass
from functools import cache
from http import HTTPStatus
from importlib.resources import files

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from warmbranch_service.contract.errors import NOT_FOUND, Problem
from warmbranch_service.contract.forms import LONGEST_ACCEPT
from warmbranch_service.demo import demo_text
from warmbranch_service.http.passage.conditional import answered, etag_of
from warmbranch_service.http.routes.page_bundle import bundle, markup, styles
from warmbranch_service.length.examples import example_text

MEDIA_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".json": "application/json",
}
INDEX = "index.html"
ALL_MODULES, ALL_STYLES, PRINTED = "all.js", "all.css", "print.css"
GENERATOR_RPM = 1500
"""Of the invented generator, whose engine keeps to it."""

_FOLDER = files("warmbranch_service") / "page"
NAMES = frozenset(part.name for part in _FOLDER.iterdir() if part.name.endswith(tuple(MEDIA_TYPES)))
"""What the folder ships. Only these are served, so no path leads out of it."""

EXAMPLE_MODULE = "van.js"
"""The example that the page begins with: no request more before the first answer."""

MADE = frozenset({ALL_MODULES, ALL_STYLES, EXAMPLE_MODULE, "van.json", "generator.json"})
"""What is made of them, and the invented examples."""

SMALLEST_TO_COMPRESS = 500
"""Bytes. What is shorter goes in one packet either way."""

HEADERS = {
    # Kept, but asked for again each time: after an upgrade nobody runs half of an old page.
    "cache-control": "no-cache",
    "vary": "accept-encoding",
    "content-security-policy": "default-src 'self'; object-src 'none'; frame-ancestors 'none'; "
    "base-uri 'none'; form-action 'none'",
    "permissions-policy": "camera=(), geolocation=(), microphone=(self)",
}

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class Part:
    """A part of the page, as it is and compressed."""

    content: bytes
    compressed: bytes | None
    media_type: str


@router.api_route("/", methods=["GET", "HEAD"])
async def index(request: Request) -> Response:
    """The page itself."""
    return await _answer(request, INDEX)


@router.api_route("/favicon.ico", methods=["GET", "HEAD"])
async def favicon() -> Response:
    """What browsers ask for of their own accord."""
    return RedirectResponse("/page/favicon.svg", HTTPStatus.MOVED_PERMANENTLY, HEADERS)


@router.api_route("/page/{name}", methods=["GET", "HEAD"])
async def part(name: str, request: Request) -> Response:
    """A style sheet, a module, a picture or an invented example."""
    if name not in NAMES and name not in MADE:
        raise Problem(NOT_FOUND, "The page has no such part.")
    return await _answer(request, name)


@cache
def part_of(name: str) -> Part:
    """One part, put together and compressed once."""
    content = _text(name).encode()
    small = len(content) < SMALLEST_TO_COMPRESS
    # Without a time in it, equal parts are equal bytes in every worker.
    compressed = None if small else gzip.compress(content, compresslevel=9, mtime=0)
    return Part(content, compressed, MEDIA_TYPES[name[name.rindex(".") :]])


def _text(name: str) -> str:
    if name == "van.json":
        return example_text("length")
    if name == "generator.json":
        target = {"target": {"quiet_rpm": GENERATOR_RPM}}
        return json.dumps(json.loads(demo_text("generator")) | target)
    if name == EXAMPLE_MODULE:
        # Without its spaces, which nobody reads here.
        example = json.dumps(json.loads(example_text("length")), separators=(",", ":"))
        return f"export const VAN = {example};\n"
    if name == ALL_MODULES:
        modules = {own: _read(own) for own in NAMES if own.endswith(".js")}
        modules[EXAMPLE_MODULE] = _text(EXAMPLE_MODULE)
        return bundle(modules, "main.js")
    if name == ALL_STYLES:
        screen = {own: _read(own) for own in ("style.css", "charts.css")}
        return styles(screen, _read(PRINTED))
    return markup(_read(name)) if name == INDEX else _read(name)


def _read(name: str) -> str:
    return (_FOLDER / name).read_text(encoding="utf-8")


async def _answer(request: Request, name: str) -> Response:
    """The part, compressed for who takes that, or 304 when the browser has it."""
    # The first time a tenth of a second's work: not where everybody waits for it.
    found = await asyncio.to_thread(part_of, name)
    zipped = found.compressed is not None and _takes_gzip(request)
    content = found.compressed if zipped and found.compressed is not None else found.content
    headers = HEADERS | ({"content-encoding": "gzip"} if zipped else {})
    return answered(
        request, content, etag=etag_of(content), media_type=found.media_type, headers=headers
    )


def _takes_gzip(request: Request) -> bool:
    for offered in request.headers.get("accept-encoding", "")[:LONGEST_ACCEPT].split(","):
        coding, _, quality = offered.partition(";")
        if coding.strip().lower() in ("gzip", "*"):
            return quality.replace(" ", "") not in ("q=0", "q=0.0", "q=0.00", "q=0.000")
    return False
