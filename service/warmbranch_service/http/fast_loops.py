"""Bringing in the compiled loops behind a running service, without making anyone wait.

Answers do not depend on them, only their speed. Compiling takes half a minute once after an
installation and holds the interpreter, so a process of its own does it and leaves the result in
numba's cache, from which this process then loads it in about a second. Until every loop has been
used once here, requests run on numpy: none ever compiles or loads one.
"""

from __future__ import annotations

import json
import logging
import subprocess
import sys
import threading

from warmbranch.base import kernel
from warmbranch_service.demo import DEMOS, demo_text

log = logging.getLogger("warmbranch")


class FastLoops:
    """Compiles and loads in the background; ``stop`` ends it early."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._stopped = False
        self._thread = threading.Thread(target=self._run, daemon=True, name="fast-loops")

    def start(self) -> None:
        """Begin, unless the environment keeps to numpy."""
        if kernel.allowed():
            self._thread.start()

    @property
    def are_coming(self) -> bool:
        """Whether they are still being compiled or loaded."""
        return self._thread.is_alive() and not kernel.is_settled()

    def stop(self) -> None:
        """Give up what is still under way."""
        self._stopped = True
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()

    def _run(self) -> None:
        try:
            command = [sys.executable, "-m", "warmbranch_service", "compile"]
            self._process = subprocess.Popen(
                command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
            if self._process.wait() != 0:
                if not self._stopped:
                    log.warning("the compiled loops cannot be had; answers are right but slower")
                return
            if not self._stopped:
                compile_loops()
                log.info("the compiled loops are loaded")
        except Exception:
            log.exception("the compiled loops cannot be had; answers are right but slower")


def compile_loops() -> bool:
    """Load the compiled loops, each used once; False where they cannot be had."""
    return kernel.load(first_use=_use_each) is not None


def _use_each() -> None:
    from warmbranch_service.local import steady_of, warmup_of

    for name in DEMOS:
        steady_of(demo_text(name).encode())
    first_minute = {"duration_min": 1, "start": {"model": "cold start"}}
    warmup_of(json.dumps({**json.loads(demo_text("van")), **first_minute}).encode())
