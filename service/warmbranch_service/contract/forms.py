"""In which form an answer is given: what the header Accept asks for, of what there is."""

from __future__ import annotations

from collections.abc import Sequence

from pydantic import BaseModel
from starlette.requests import Request

from warmbranch_service.contract.answer_csv import as_csv
from warmbranch_service.contract.errors import NOT_ACCEPTABLE, Problem
from warmbranch_service.contract.fields import JsonSchema

JSON, CSV = "application/json", "text/csv"
FORMS = (JSON, CSV)
MEDIA_TYPES = {JSON: JSON, CSV: "text/csv; charset=utf-8; header=present"}
VARY = {"vary": "Accept"}
LONGEST_ACCEPT = 1024
"""Characters of Accept that are looked at; browsers send some hundred."""
CONTENT: JsonSchema = {
    CSV: {
        "schema": {
            "type": "string",
            "description": "The same answer, a number or a text a line: section, row, field, "
            "value, unit.",
        }
    }
}
"""What the OpenAPI document says of the form beside JSON."""


def form_of(request: Request, forms: Sequence[str] = FORMS) -> str:
    """The form that is asked for; the first of ``forms`` where it does not matter.

    Raises
    ------
    Problem
        ``not-acceptable`` where none will do.
    """
    asked = ", ".join(request.headers.getlist("accept"))[:LONGEST_ACCEPT] or "*/*"
    ranges = list(_ranges(asked))
    qualities = [_quality(form, ranges) for form in forms]
    best = max(qualities)
    if best <= 0:
        detail = f"This answer is given as {' or '.join(forms)}, and not as {asked[:80]}."
        raise Problem(NOT_ACCEPTABLE, detail)
    return forms[qualities.index(best)]


def _ranges(asked: str) -> list[tuple[str, float]]:
    """Media ranges with their quality values; what is none is passed over (RFC 9110, 12.5.1)."""
    found: list[tuple[str, float]] = []
    for part in asked.split(","):
        name, *parameters = (piece.strip().lower() for piece in part.split(";"))
        weight = next((p[2:] for p in parameters if p.startswith("q=")), "1")
        try:
            quality = float(weight)
        except ValueError:
            continue
        if 0 <= quality <= 1:
            found.append((name, quality))
    return found


def _quality(form: str, ranges: list[tuple[str, float]]) -> float:
    """That of the most specific range which takes in the form."""
    for name in (form, form.partition("/")[0] + "/*", "*/*"):
        given = [quality for known, quality in ranges if known == name]
        if given:
            return max(given)
    return 0.0


def written(answer: BaseModel, form: str, name: str) -> bytes:
    """An answer in a form; of CSV, ``name`` is the section of what stands in no other."""
    if form == CSV:
        return as_csv(answer, name).encode()
    return answer.model_dump_json().encode()
