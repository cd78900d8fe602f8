"""What one worker process does besides serving."""

from __future__ import annotations

import gc
import sys
from types import ModuleType

from warmbranch_service.serving.worker import _Loaded


def test_what_is_loaded_later_is_left_alone_by_the_collector_too(monkeypatch):
    loaded = _Loaded()
    try:
        loaded.leave_alone()
        before = gc.get_freeze_count()
        assert before > 10_000
        kept = [[] for _ in range(10_000)]
        loaded.leave_alone()
        assert gc.get_freeze_count() <= before  # nothing was loaded
        monkeypatch.setitem(sys.modules, "loaded_later", ModuleType("loaded_later"))
        loaded.leave_alone()
        assert gc.get_freeze_count() > before + len(kept) / 2  # some that were left alone are gone
    finally:
        gc.unfreeze()
