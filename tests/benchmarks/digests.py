"""Digests of a spread of answers, to see whether a change that should change nothing does.

    python tests/benchmarks/digests.py > before.txt     and again after the change; then
    diff before.txt after.txt

Every question's shown requests, their answers to the last digit, and 200 designs spread over the
admissible box, their temperatures, resonances and quality factors; each by the compiled core and by
numpy alone, which takes minutes. Between machines, or versions of libraries, digests differ: what
counts is one machine and one afternoon.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Callable, Iterator
from itertools import chain
from pathlib import Path
from typing import Any

sys.path[:0] = [str(Path(__file__).parents[1])]  # for conftest and shared

import numpy as np

from conftest import sample_box
from warmbranch import core
from warmbranch.base.errors import WarmbranchError
from warmbranch.steady.solve import solve
from warmbranch_service import local
from warmbranch_service.contract.errors import Problem
from warmbranch_service.http.openapi import request_examples as shown
from warmbranch_service.sweep.whole import Swept

DESIGNS = 200
SHOWN: dict[str, tuple[Callable[[], Any], Callable[[bytes], Any]]] = {
    "steady": (shown.steady, local.steady_of),
    "length": (shown.length, local.length_of),
    "warmup": (shown.warmup, local.warmup_of),
    "fit": (shown.fit, local.fit_of),
    "learn": (shown.learn, local.learn_of),
    "sweep": (shown.sweep, local.sweep_of),
}


def digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]


def told(answer: Any) -> bytes:
    """An answer's bytes, as the service sends them."""
    if isinstance(answer, Swept):
        return answer.to_ndjson()
    return answer.model_dump_json().encode()


def questions() -> Iterator[tuple[str, str]]:
    for name, (examples, ask) in SHOWN.items():
        for number, example in enumerate(examples().values()):
            try:
                found = told(ask(json.dumps(example["value"]).encode()))
            except Problem as problem:
                found = repr(problem.parts).encode()
            yield f"{name} {number}", digest(found)


def designs() -> Iterator[tuple[str, str]]:
    batch = sample_box(DESIGNS, seed=17)
    for number in range(DESIGNS):
        try:
            answer = solve(batch.take(np.array([number])))
        except WarmbranchError as error:
            yield f"design {number}", digest(str(error).encode())
            continue
        numbers = (answer.profile.gas, answer.profile.wall, answer.resonance, answer.quality_factor)
        yield f"design {number}", digest(b"".join(value.tobytes() for value in numbers))


def main() -> None:
    for setting in ("on", "off"):
        os.environ[core.OFF] = setting
        for name, found in chain(questions(), designs()):
            print(f"core {setting}, {name}: {found}", flush=True)


if __name__ == "__main__":
    main()
