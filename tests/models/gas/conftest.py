"""Shared by the tests of the gas."""

from __future__ import annotations

from types import ModuleType

import pytest


@pytest.fixture(scope="session")
def cantera() -> ModuleType:
    """Imported by the tests that need it and no others."""
    import cantera

    return cantera
