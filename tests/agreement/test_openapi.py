"""The public interface cannot change unnoticed."""

from __future__ import annotations

import copy

from shared.document import KEPT


def test_openapi_document_is_the_one_kept(document):
    """After a change that is meant: ``warmbranch openapi > fixtures/openapi.json``."""
    kept, found = copy.deepcopy(KEPT), copy.deepcopy(document)
    kept["info"].pop("version")
    found["info"].pop("version")
    assert found == kept
