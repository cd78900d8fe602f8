"""Who goes through the hot loops of one case."""

from __future__ import annotations

from warmbranch import core
from warmbranch.case.case import Case


def loops_of(case: Case) -> str:
    """The core's name, or ``"numpy"``: the core knows no branch of several tubes."""
    return core.NUMPY if case.branch.stepped.any() else core.name()
