"""Pages of other origins: those that are set may ask; others are refused in the one shape."""

from __future__ import annotations

from starlette.datastructures import Headers
from starlette.middleware.cors import CORSMiddleware
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from warmbranch_service.contract.errors import BAD_REQUEST, ProblemParts, problem_response


class Cors(CORSMiddleware):
    """Starlette's, but for the shape of its refusals."""

    def preflight_response(self, request_headers: Headers) -> Response:
        """Answer a browser that asks beforehand whether a page may ask."""
        response = super().preflight_response(request_headers)
        return response if response.status_code < 400 else _Refusal(response)


class _Refusal(Response):
    """A refusal of the framework's, dressed once it is known whose."""

    def __init__(self, refusal: Response) -> None:
        super().__init__()
        self._refusal = refusal

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = {
            name: value
            for name, value in self._refusal.headers.items()
            if name not in ("content-length", "content-type")
        }
        parts = ProblemParts(BAD_REQUEST, f"{bytes(self._refusal.body).decode()}.", headers=headers)
        identity = scope["state"]["request_id"]
        response = problem_response(parts, instance=scope["path"], request_id=identity)
        await response(scope, receive, send)
