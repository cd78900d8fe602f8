"""Work that nobody waits for any more ends, on numpy and in the compiled loops, and soon."""

from __future__ import annotations

import threading
import time
from functools import partial

import numpy as np
import pytest

from warmbranch import core
from warmbranch.base import stopping
from warmbranch.base.errors import NotConvergedError, StoppedError
from warmbranch.base.stopping import Stop, under
from warmbranch.core import calls
from warmbranch.heat import newton
from warmbranch.sound import damped, resonance
from warmbranch.steady.solve import solve
from warmbranch.warming import solve as warmup
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up

WIDE = 60.0
"""s. Far above what an end takes, far below what the whole work would: only a hang fails it."""


def ends(work, monkeypatch, module, name):
    """Run ``work`` in a thread, set its stop once ``module.name`` is under way; how it ended."""
    stop, told, begun = Stop(), [], threading.Event()
    real = getattr(module, name)

    def watched(*arguments, **named):
        begun.set()
        return real(*arguments, **named)

    monkeypatch.setattr(module, name, watched)

    def run():
        try:
            with under(stop):
                work()
            told.append("done")
        except StoppedError as error:
            told.append(str(error))

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert begun.wait(WIDE)
    time.sleep(0.05)
    stop.set("enough")
    thread.join(WIDE)
    assert not thread.is_alive(), "the thread is not free"
    return told


@pytest.fixture(params=["numpy", "compiled"])
def loops(request, monkeypatch):
    if request.param == "numpy":
        monkeypatch.setenv(core.OFF, "off")
    else:
        assert core.at_hand() is not None
    return request.param


def test_a_large_batch_ends(loops, make_case, monkeypatch):
    case = make_case(length=np.linspace(0.5, 1.5, 1500 if loops == "numpy" else 10_000))
    inner = (newton, "newton_step") if loops == "numpy" else (calls, "steady")
    assert ends(lambda: solve(case), monkeypatch, *inner) == ["enough"]


def test_a_search_for_resonances_ends(loops, make_case, monkeypatch):
    duct = solve(make_case()).duct.repeat(4000 if loops == "numpy" else 60_000)
    inner = (resonance, "mode_angle") if loops == "numpy" else (calls, "resonances")
    found = ends(lambda: resonance.resonances(duct), monkeypatch, *inner)
    assert found == ["enough"]


def test_a_long_warm_up_ends(loops, make_case, monkeypatch):
    # Six hours in steps that are held so short that it takes far longer than the test waits.
    drive, times = Drive.cold_start(21_600.0), np.array([0.0, 21_600.0])
    work = partial(warm_up, make_case(), drive, times, tolerance=1e-9)
    assert ends(work, monkeypatch, warmup, "_integrate") == ["enough"]


def test_compiled_loops_look_at_the_flag(make_case, monkeypatch):
    # Without the looks of Python between them, what they leave undone shows.
    assert core.at_hand() is not None
    case = make_case(length=np.linspace(0.5, 1.5, 3))
    whole = solve(case)
    monkeypatch.setattr(stopping, "check", lambda: None)
    monkeypatch.setattr(damped, "look_again", lambda *_: None)  # what Python would make of it
    stop = Stop()
    stop.set("before")
    with under(stop):
        assert np.isnan(resonance.resonances(whole.duct)[0]).all()
        assert np.all(solve(case).profile.iterations == 0)
        with pytest.raises(NotConvergedError):
            warm_up(case, Drive.cold_start(600.0), np.array([0.0, 600.0]))
    assert np.all(whole.profile.iterations > 0)
    assert np.isfinite(whole.resonance).all()


def test_what_is_set_before_never_begins(make_case):
    stop = Stop()
    stop.set("before")
    with under(stop), pytest.raises(StoppedError, match="before"):
        solve(make_case())


def test_the_first_reason_stays_and_a_stop_ends_its_own_context_only(make_case):
    stop = Stop()
    with under(stop):
        stop.set("first")
        stop.set("second")
    assert stop.reason == "first"
    assert np.isfinite(solve(make_case()).resonance).all()
