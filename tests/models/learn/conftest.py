"""Shared by the tests of what shops learn: invented jobs, and what was kept of them."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

import numpy as np
import pytest

from warmbranch.belief.unknown import Spreads
from warmbranch.learn.summary import MeasuredBranch, Summary, summary_of


@pytest.fixture(scope="session")
def synthetic() -> ModuleType:
    return import_module("synthetic")


@pytest.fixture(scope="session")
def shop() -> ModuleType:
    return import_module("shop")


@pytest.fixture(scope="session")
def kept(synthetic: ModuleType) -> list[Summary]:
    """Of five jobs, read and heard, with truths from the priors."""
    rng = np.random.default_rng(21)
    found = []
    for i in range(5):
        made = synthetic.experiment(rng, 6, listens=True)
        job = MeasuredBranch(f"job {i}", made.case, made.readings, made.heard, Spreads(), warm=True)
        found.append(summary_of(job))
    return found
