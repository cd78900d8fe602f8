"""The service: HTTP, the command line, and the only room that knows °C, mm, rpm and JSON."""

import os
from importlib.metadata import PackageNotFoundError, version

# One thread a solve: linear algebra on a branch's small systems gains nothing from more, and
# several solves at once would fight over the cores. It must stand before numpy is first loaded.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")


def _version() -> str:
    try:
        return version("warmbranch")
    except PackageNotFoundError:  # run from a source tree that was never installed
        return "unreleased"


MODEL_VERSION = _version()

__all__ = ["MODEL_VERSION"]
