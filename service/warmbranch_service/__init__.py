"""The service: HTTP, the command line, and the only room that knows °C, mm, rpm and JSON."""

import os
from importlib import import_module
from typing import TYPE_CHECKING

from warmbranch_service.version import MODEL_VERSION

if TYPE_CHECKING:
    from warmbranch_service.contract.errors import Problem as Problem
    from warmbranch_service.job import Job as Job

# One thread a solve: linear algebra on a branch's small systems gains nothing from more, and
# several solves at once would fight over the cores. It must stand before numpy is first loaded.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

__all__ = ["MODEL_VERSION", "Job", "Problem"]

_LATE = {"Job": "job", "Problem": "contract.errors"}
"""What is imported when it is first asked for, so that a command loads no more than it needs."""


def __getattr__(name: str) -> object:
    if name in _LATE:
        return getattr(import_module(f"{__name__}.{_LATE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
