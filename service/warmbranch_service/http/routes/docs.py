"""``GET /v1/docs``: every route, to be read and tried in a browser; it needs no other host.

The reader of the OpenAPI document is Swagger UI, as the package fastapi-standalone-docs ships it.
"""

from __future__ import annotations

import asyncio
import json
from functools import cache
from importlib.resources import files
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from warmbranch_service.contract.errors import NOT_FOUND, Problem
from warmbranch_service.http.passage.conditional import answered, etag_of

HEADERS = {
    "cache-control": "no-cache",
    # Swagger UI sets styles from scripts and draws its icons from data: addresses.
    "content-security-policy": "default-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data:; object-src 'none'; frame-ancestors 'none'; base-uri 'none'; "
    "form-action 'none'",
}
FILES = {
    "index.html": ("warmbranch_service", "docs", "text/html; charset=utf-8"),
    "start.js": ("warmbranch_service", "docs", "text/javascript; charset=utf-8"),
    "dress.css": ("warmbranch_service", "docs", "text/css; charset=utf-8"),
    "favicon.svg": ("warmbranch_service", "page", "image/svg+xml"),
    "swagger-ui.css": ("fastapi_standalone_docs", "static/swagger", "text/css; charset=utf-8"),
    "swagger-ui-bundle.js": (
        "fastapi_standalone_docs",
        "static/swagger",
        "text/javascript; charset=utf-8",
    ),
    # Of Swagger UI, whose files are handed out with it (Apache-2.0, section 4).
    "LICENSE": ("fastapi_standalone_docs", "static/swagger", "text/plain; charset=utf-8"),
}
"""Package, folder in it and media type of each file that is served."""

router = APIRouter(include_in_schema=False)


@router.api_route("/v1/openapi.json", methods=["GET", "HEAD"])
async def openapi(request: Request) -> Response:
    """The OpenAPI document itself."""
    state = request.app.state
    if not hasattr(state, "openapi"):
        # Once, and a second's work: not where everybody waits for it.
        content = await asyncio.to_thread(_written, request.app)
        state.openapi = content, etag_of(content)
    content, etag = state.openapi
    headers = {"cache-control": "no-cache"}  # kept, but asked for again: it may have been upgraded
    return answered(request, content, etag=etag, media_type="application/json", headers=headers)


def _written(app: Any) -> bytes:
    return json.dumps(app.openapi(), ensure_ascii=False).encode()


@router.api_route("/v1/docs", methods=["GET", "HEAD"])
async def docs(request: Request) -> Response:
    """The page itself."""
    return await _file(request, "index.html")


@router.api_route("/v1/docs/{name}", methods=["GET", "HEAD"])
async def part(name: str, request: Request) -> Response:
    """What the page loads."""
    if name not in FILES:
        raise Problem(NOT_FOUND, "The documentation has no such part.")
    return await _file(request, name)


async def _file(request: Request, name: str) -> Response:
    """The file, or 304 when the browser has it."""
    content, etag = await asyncio.to_thread(_read, name)
    return answered(request, content, etag=etag, media_type=FILES[name][2], headers=HEADERS)


@cache
def _read(name: str) -> tuple[bytes, str]:
    package, folder, _ = FILES[name]
    content = (files(package) / folder / name).read_bytes()
    return content, etag_of(content)
