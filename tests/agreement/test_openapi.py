"""The public interface cannot change unnoticed."""

from __future__ import annotations

import json
from pathlib import Path

from warmbranch_service.http.app import create_app

KEPT = Path(__file__).parents[2] / "fixtures" / "openapi.json"


def test_openapi_document_is_the_one_kept():
    """After a change that is meant: ``warmbranch openapi > fixtures/openapi.json``."""
    kept = json.loads(KEPT.read_text(encoding="utf-8"))
    found = json.loads(json.dumps(create_app().openapi()))
    kept["info"].pop("version")
    found["info"].pop("version")
    assert found == kept
