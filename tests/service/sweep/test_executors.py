"""Executors: the same chunks in the same order, wherever they are solved and whoever dies."""

from __future__ import annotations

import os
import signal
import threading

import pytest

from warmbranch.errors import StoppedError
from warmbranch.stopping import Stop, under
from warmbranch_service.schemas.sweep import SweepRequest
from warmbranch_service.sweep import executors
from warmbranch_service.sweep.executors import ExecutorError, InProcess, ProcessPool
from warmbranch_service.sweep.plan import Plan

CHUNKS = 8


@pytest.fixture
def plan(sobol):
    sobol["sampling"]["count"] = CHUNKS * 512 - 100
    return Plan(SweepRequest.model_validate(sobol))


@pytest.fixture
def pool():
    pool = ProcessPool(2)
    yield pool
    pool.close()


def processes(pool):
    return list(pool._pool._processes.values())


def test_pool_gives_the_same_chunks_though_a_process_is_killed(plan, pool):
    expected = list(InProcess().solved(plan, range(CHUNKS)))
    found = []
    for chunk in pool.solved(plan, range(CHUNKS)):
        found.append(chunk)
        if chunk.number == 1:
            os.kill(processes(pool)[0].pid, signal.SIGKILL)
    assert found == expected
    # Once more with the processes that took their place, from amid the sweep.
    assert list(pool.solved(plan, range(5, 7))) == expected[5:7]
    live = processes(pool)
    pool.close()
    assert not any(process.is_alive() for process in live)


def test_pool_whose_processes_die_again_and_again_gives_up(plan, pool, monkeypatch):
    monkeypatch.setattr(executors, "solve_task", die)
    with pytest.raises(ExecutorError, match=r"lost 4 times while designs 0 to 511 were solved"):
        list(pool.solved(plan, range(CHUNKS)))


def die(task):
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.parametrize("kind", [InProcess, lambda: ProcessPool(1)])
def test_stopped_work_ends_soon(plan, kind):
    stop, executor = Stop(), kind()
    try:
        with under(stop):
            chunks = executor.solved(plan, range(CHUNKS))
            assert next(chunks).number == 0
            threading.Timer(0.05, stop.set, ["enough"]).start()
            with pytest.raises(StoppedError, match="enough"):
                list(chunks)
    finally:
        executor.close()
