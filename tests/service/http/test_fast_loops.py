"""No request compiles or loads a loop; what the background has not finished is done on numpy."""

from __future__ import annotations

import contextvars
import json
import os
import subprocess
import sys

import pytest

from warmbranch.base import kernel
from warmbranch_service.http import fast_loops

EVERY_KIND_OF_REQUEST = """
import json
from warmbranch import compiled, compiled_sound, compiled_steady, compiled_tube, compiled_warmup
from warmbranch import kernel
from warmbranch_service import fast_loops, local, request_examples

def forms():
    rooms = (compiled, compiled_sound, compiled_steady, compiled_tube, compiled_warmup)
    return {
        f"{room.__name__}.{name}": len(loop.signatures)
        for room in rooms for name, loop in vars(room).items() if hasattr(loop, "signatures")
    }

assert fast_loops.compile_loops()
before = forms()
asked = 0
with kernel.no_loading():
    for kind in ("steady", "warmup", "length", "fit"):
        for example in getattr(request_examples, kind)().values():
            getattr(local, f"{kind}_of")(json.dumps(example["value"]).encode())
            asked += 1
print(json.dumps([asked, {n: [before[n], c] for n, c in forms().items() if c != before[n]}]))
"""


def test_after_the_first_use_of_each_loop_no_request_compiles_another_form():
    # In a process of its own: other tests have called the loops in other ways.
    run = subprocess.run(
        [sys.executable, "-c", EVERY_KIND_OF_REQUEST],
        env={name: text for name, text in os.environ.items() if name != kernel.OFF},
        capture_output=True,
        text=True,
        check=True,
    )
    asked, grown = json.loads(run.stdout)
    assert asked > 4
    assert grown == {}


def test_until_then_a_large_batch_stays_on_numpy(monkeypatch):
    monkeypatch.setattr(kernel, "_kernel", None)
    with kernel.no_loading():
        assert kernel.at_hand(kernel.REPAYS_LOADING) is None
    assert not kernel.is_settled()


def test_others_stay_on_numpy_while_each_loop_is_first_used(monkeypatch):
    monkeypatch.setattr(kernel, "_kernel", None)
    seen = []

    def first_use():
        seen.append(kernel.at_hand(1) is not None)
        seen.append(contextvars.Context().run(kernel.at_hand, 1) is not None)

    assert kernel.load(first_use) is not None
    assert seen == [True, False]
    assert kernel.is_settled()


def test_settled_where_numpy_is_all_that_may_be(monkeypatch):
    monkeypatch.setenv(kernel.OFF, "off")
    assert kernel.is_settled()
    assert not kernel.settle()
    assert not fast_loops.compile_loops()


@pytest.fixture(autouse=True)
def _own_kernel(monkeypatch):
    """Whatever a test loads is forgotten after it."""
    monkeypatch.setattr(kernel, "_kernel", kernel._kernel)
