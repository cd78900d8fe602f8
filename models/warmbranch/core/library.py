"""Finding and loading the compiled core: the build for this processor, never a stale one.

Loading takes milliseconds. A library whose digest is not that of the sources beside it is built
anew where a compiler is to be had; where it is not, or there is no place to write, numpy answers
and one warning names the remedy. ``WARMBRANCH_KERNEL=off`` keeps to numpy.
"""

from __future__ import annotations

import ctypes
import os
import warnings
from pathlib import Path
from threading import Lock
from typing import Any, cast

import numpy as np

from warmbranch.core import build

OFF = "WARMBRANCH_KERNEL"
"""Environment variable that keeps to numpy when it says ``off``."""

NUMPY = "numpy"

ENTRIES = (
    "heat",
    "grid",
    "discretise",
    "impedance",
    "resonances",
    "effective",
    "steady",
    "warm_up",
)


class Library:
    """The loaded core.

    Attributes
    ----------
    name : str
        ``"c x86-64-v3"``: the language and the processor that it was built for.
    """

    def __init__(self, path: Path, build_name: str) -> None:
        self.name = f"c {build_name}"
        self._loaded = ctypes.CDLL(str(path))
        self._loaded.core_prepare.restype = None
        self._loaded.core_prepare()
        for entry in ENTRIES:
            function = getattr(self._loaded, f"core_{entry}")
            function.argtypes, function.restype = [ctypes.c_void_p], ctypes.c_bool

    def run(self, entry: str, job: ctypes.Structure) -> None:
        """Let an entry do a job. Python's lock is free meanwhile.

        Raises
        ------
        MemoryError
        """
        if not getattr(self._loaded, f"core_{entry}")(ctypes.byref(job)):
            raise MemoryError("the core found no room to work in")

    @property
    def functions(self) -> Any:
        """The loaded functions, for tests."""
        return self._loaded


_lock = Lock()
_tried = False
_library: Library | None = None


def allowed() -> bool:
    """Whether the environment lets the core be used."""
    return os.environ.get(OFF, "").lower() != "off"


def at_hand() -> Library | None:
    """The core, or None where numpy is to answer."""
    if not allowed():
        return None
    if not _tried:
        _try()
    return _library


def name() -> str:
    """What answers: the core's name, or ``"numpy"``."""
    library = at_hand()
    return NUMPY if library is None else library.name


def _try() -> None:
    global _tried, _library
    with _lock:
        if not _tried:
            _library = load()
            _tried = True


def load(folder: Path = build.LIBRARIES, sources: Path = build.SOURCES) -> Library | None:
    """Load the build for this processor, made anew if it is stale; None, with a warning, if not."""
    state = "is not there"
    wanted = build.digest(sources)
    name = next(name for name in build.names() if _runs_here(name))
    path = build.library(name, folder)
    try:
        if path.exists() and wanted is not None and build.digest_in(path) != wanted:
            state = "is older than its C sources"
        elif path.exists():
            return Library(path, name)
        if wanted is not None:
            build.build(folder, sources)
            return Library(path, name)
    except (OSError, RuntimeError, AttributeError) as error:
        state += f" and cannot be built or loaded ({error})"
    warnings.warn(
        f"numpy answers, correctly but some ten times slower: the compiled core {state}. "
        "Remedy: install the package ziglang (or name a C compiler in WARMBRANCH_CC) and start "
        "again, or install warmbranch anew.",
        RuntimeWarning,
        stacklevel=4,
    )
    return None


def _runs_here(build_name: str) -> bool:
    if build_name != build.LEVELS[0]:
        return True
    features = cast("dict[str, bool]", cast("Any", np)._core._multiarray_umath.__cpu_features__)
    return bool(features.get("X86_V3") or (features.get("AVX2") and features.get("FMA3")))
