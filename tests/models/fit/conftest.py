"""Shared by the tests of the fit: invented branches with a known truth, and fast loops."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


def _module(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"fit_{name}", BENCHMARKS / f"{name}.py")
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
def coverage_fit() -> ModuleType:
    return _module("coverage_fit")
