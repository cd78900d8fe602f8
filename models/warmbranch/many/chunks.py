"""Thousands of designs, a chunk at a time: as quick as one batch, in little memory."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextvars import copy_context

from warmbranch.base.errors import NotConvergedError
from warmbranch.case.case import Case
from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch.sound.resonance import MODES
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve

CHUNK = 1024
"""Designs. Fewer pay the calls around the loops again and again, more leave the processor's
caches and only cost memory, some 25 kB each: by measurement, see DEVELOPERS.md."""


def solve_in_chunks(
    case: Case,
    *,
    nodes: int = DEFAULT_NODES,
    modes: int = MODES,
    chunk: int = CHUNK,
    threads: int = 1,
) -> Iterator[Answer]:
    """Predict a large batch, chunk by chunk and in order.

    Parameters
    ----------
    case : Case
        SI units, kelvin.
    nodes, modes : int
        As in :func:`solve.solve`.
    chunk : int
        Designs answered at once.
    threads : int
        That work at the same time. A service that answers others meanwhile leaves it at one.

    Yields
    ------
    Answer
        Of ``chunk`` designs, the last of what is left. What the caller does not keep is freed.

    Raises
    ------
    NotConvergedError
        As from :func:`solve.solve`, with the designs counted through the whole batch.
    """

    def answer(first: int) -> Answer:
        try:
            return solve(case.take(slice(first, first + chunk)), nodes=nodes, modes=modes)
        except NotConvergedError as error:
            raise error.among(range(first, len(case))) from error

    starts = iter(range(0, len(case), chunk))
    if threads == 1:
        yield from map(answer, starts)
        return
    pool = ThreadPoolExecutor(threads, thread_name_prefix="chunks")
    under_way: deque[Future[Answer]] = deque()
    try:
        for first in starts:
            under_way.append(pool.submit(copy_context().run, answer, first))
            if len(under_way) > threads:  # one waits, so that no thread does
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()
    finally:
        pool.shutdown(cancel_futures=True)
