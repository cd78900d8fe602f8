"""Which executor a sweep is solved on."""

from __future__ import annotations

from warmbranch_service.sweep.executors import Executor, InProcess, ProcessPool


def executor(*, processes: int = 1) -> Executor:
    """The executor.

    Parameters
    ----------
    processes : int, optional
        Of this machine; 1 for this one alone.
    """
    return ProcessPool(processes) if processes > 1 else InProcess()
