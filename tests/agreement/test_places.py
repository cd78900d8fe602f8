"""The page knows the places that the service knows."""

from __future__ import annotations

import json
import re
from pathlib import Path

import warmbranch_service
from warmbranch_service.case.around import PLACES


def test_the_page_offers_every_place():
    text = (Path(warmbranch_service.__file__).parent / "page" / "field_list.js").read_text(
        encoding="utf-8"
    )
    (listed,) = re.findall(r"^const PLACES = (\[.*\]);$", text, flags=re.M)
    assert json.loads(listed) == list(PLACES)
