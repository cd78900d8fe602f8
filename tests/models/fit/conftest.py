"""Shared by the tests of the fit: invented branches with a known truth, and fast loops."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def synthetic() -> ModuleType:
    return import_module("synthetic")


@pytest.fixture(scope="session")
def coverage_fit() -> ModuleType:
    return import_module("coverage_fit")
