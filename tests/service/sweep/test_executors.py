"""Executors: the same chunks in the same order, wherever they are solved and whoever dies."""

from __future__ import annotations

import importlib
import os
import signal
import sys
import threading

import pytest

from warmbranch.base.errors import StoppedError
from warmbranch.base.stopping import Stop, under
from warmbranch_service.sweep.executors import ExecutorError, InProcess
from warmbranch_service.sweep.plan import Plan
from warmbranch_service.sweep.processes import ProcessPool
from warmbranch_service.sweep.request import SweepRequest

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


@pytest.fixture
def a_module(tmp_path, monkeypatch):
    """Functions that processes can find."""

    def write(text):
        (tmp_path / "what_processes_do.py").write_text(text, encoding="utf-8")
        monkeypatch.syspath_prepend(tmp_path)
        monkeypatch.delitem(sys.modules, "what_processes_do", raising=False)
        return importlib.import_module("what_processes_do")

    return write


def test_pool_gives_the_same_chunks_though_a_process_is_killed(plan, pool):
    expected = list(InProcess().solved(plan, range(CHUNKS)))
    found = []
    for chunk in pool.solved(plan, range(CHUNKS)):
        found.append(chunk)
        if chunk.number == 1:
            os.kill(pool.processes[0].pid, signal.SIGKILL)
    assert found == expected
    # Once more with the processes that took their place, from amid the sweep.
    assert list(pool.solved(plan, range(5, 7))) == expected[5:7]
    live = pool.processes
    assert len(live) == 2
    pool.close()
    assert not any(process.is_alive() for process in live)


def test_pool_whose_processes_die_again_and_again_gives_up(plan, a_module):
    deadly = a_module("""
import os, signal

def die(task):
    os.kill(os.getpid(), signal.SIGKILL)
""")
    pool = ProcessPool(1, deadly.die)
    with pytest.raises(ExecutorError, match=r"lost 4 times while designs 0 to 511 were solved"):
        list(pool.solved(plan, range(CHUNKS)))
    pool.close()


def test_a_process_that_dies_amid_its_answer_is_not_waited_for(plan, a_module, tmp_path):
    deadly = a_module(f"""
import os, pathlib, signal
from multiprocessing.connection import Connection
from warmbranch_service.sweep.solving import solve_task

def die_once(task):
    once = pathlib.Path({str(tmp_path / "once")!r})
    if task.number == 3 and not once.exists():
        once.touch()
        Connection._send = write_a_little_and_die
    return solve_task(task)

def write_a_little_and_die(self, content, write=None):
    os.write(self.fileno(), content[:100])
    os.kill(os.getpid(), signal.SIGKILL)
""")
    pool = ProcessPool(1, deadly.die_once)
    found = list(pool.solved(plan, range(CHUNKS)))
    pool.close()
    assert (tmp_path / "once").exists()
    assert found == list(InProcess().solved(plan, range(CHUNKS)))


def test_a_process_ended_amid_its_answer_does_not_hold_up_the_end(plan, a_module):
    slow = a_module("""
import os, time
from multiprocessing.connection import Connection
from warmbranch_service.sweep.solving import solve_task

def tell_for_ever(task):
    if task.number == 1:
        Connection._send = write_a_little_and_wait
    return solve_task(task)

def write_a_little_and_wait(self, content, write=None):
    os.write(self.fileno(), content[:100])
    time.sleep(3600)
""")
    pool = ProcessPool(1, slow.tell_for_ever)
    chunks, stop = pool.solved(plan, range(CHUNKS)), Stop()
    with under(stop):
        assert next(chunks).number == 0
        threading.Timer(1.0, stop.set, ["enough"]).start()
        with pytest.raises(StoppedError, match="enough"):
            next(chunks)
    pool.close()
    assert pool.processes == []


def test_what_goes_wrong_in_a_process_is_told(plan, a_module):
    failing = a_module("""
def fail(task):
    raise LookupError(f"no chunk {task.number}")
""")
    pool = ProcessPool(1, failing.fail)
    with pytest.raises(LookupError, match="no chunk 2"):
        list(pool.solved(plan, range(2, CHUNKS)))
    pool.close()


@pytest.mark.parametrize("kind", [InProcess, lambda: ProcessPool(1)])
def test_stopped_work_ends_soon(plan, kind):
    stop, executor = Stop(), kind()
    try:
        with under(stop):
            chunks = executor.solved(plan, range(CHUNKS))
            assert next(chunks).number == 0
            stop.set("enough")
            with pytest.raises(StoppedError, match="enough"):
                next(chunks)
    finally:
        executor.close()
