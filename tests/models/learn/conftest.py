"""Shared by the tests of what shops learn: invented jobs, and what was kept of them."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from warmbranch.belief.unknown import Spreads
from warmbranch.learn.summary import Job, Summary, summary_of

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


def _module(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"learn_{name}", BENCHMARKS / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their own module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def synthetic() -> ModuleType:
    return _module("synthetic")


@pytest.fixture(scope="session")
def shop() -> ModuleType:
    return _module("shop")


@pytest.fixture(scope="session")
def kept(synthetic: ModuleType) -> list[Summary]:
    """Of five jobs, read and heard, with truths from the priors."""
    rng = np.random.default_rng(21)
    found = []
    for i in range(5):
        made = synthetic.experiment(rng, 6, listens=True)
        job = Job(f"job {i}", made.case, made.readings, made.heard, Spreads(), warm=True)
        found.append(summary_of(job))
    return found
