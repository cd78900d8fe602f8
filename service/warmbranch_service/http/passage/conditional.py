"""What seldom changes and is kept by whoever asks: ETag, If-None-Match, 304 (RFC 9110, 13.1.2)."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from http import HTTPStatus

from starlette.requests import Request
from starlette.responses import Response


def etag_of(content: bytes) -> str:
    """A strong one: equal for equal bytes."""
    return f'"{hashlib.sha256(content).hexdigest()[:32]}"'


def matches(condition: str, etag: str) -> bool:
    """If-None-Match, a list or ``*``, by weak comparison: ``W/`` makes no difference."""
    return condition.strip() == "*" or etag in re.findall(r'"[^"]*"', condition)


def answered(
    request: Request,
    content: bytes,
    *,
    etag: str,
    media_type: str,
    headers: Mapping[str, str],
) -> Response:
    """The content, or 304 where the asker has it."""
    told = {**headers, "etag": etag}
    if matches(", ".join(request.headers.getlist("if-none-match")), etag):
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=told)
    return Response(content, media_type=media_type, headers=told)
