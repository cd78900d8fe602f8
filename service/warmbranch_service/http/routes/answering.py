"""One answer in the form that is asked for, worked out off the event loop."""

from __future__ import annotations

from collections.abc import Callable

from starlette.requests import Request
from starlette.responses import Response

from warmbranch_service.contract.forms import MEDIA_TYPES, VARY, form_of
from warmbranch_service.http.passage.workshop import Workshop


async def work_out(request: Request, as_bytes: Callable[[str], bytes]) -> Response:
    """Answer a question; ``as_bytes`` makes of the form's media type what is sent.

    Raises
    ------
    Problem
        ``not-acceptable`` before any work is done; else what ``as_bytes`` raises.
    """
    workshop: Workshop = request.app.state.workshop
    form = form_of(request)
    content = await workshop.run(lambda: as_bytes(form), request)
    return Response(content, media_type=MEDIA_TYPES[form], headers=VARY)
