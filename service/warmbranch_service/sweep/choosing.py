"""Which executor a sweep is solved on."""

from __future__ import annotations

from warmbranch_service.sweep.executors import Executor, InProcess


def executor(
    *, processes: int = 1, scheduler: str = "", without_workers: float | None = None
) -> Executor:
    """The executor.

    Parameters
    ----------
    processes : int, optional
        Of this machine; 1 for this one alone.
    scheduler : str, optional
        Address of a Dask scheduler, whose workers solve instead; empty for none.
    without_workers : float, optional
        s. How long that one may be without workers; as long as is usual when left out.
    """
    if scheduler:
        from warmbranch_service.sweep.cluster import Cluster

        return Cluster(scheduler, without_workers)
    if processes > 1:
        from warmbranch_service.sweep.processes import ProcessPool

        return ProcessPool(processes)
    return InProcess()
