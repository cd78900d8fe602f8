"""What a length costs, in steady answers of the same case.

    python tests/benchmarks/bench_length.py [repeats]

Once with the physics alone: the search for a length, and a compromise over five operating points
and a loudness curve, against one solution of the model. Once with the whole service: requests to
``POST /v1/length`` as they come in, answers as JSON, against ``POST /v1/steady``. They take turns,
so that a busy spell of the machine meets all of them; the best of each counts.
"""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Callable

import numpy as np

PROMISED_ONE, PROMISED_COMPROMISE = 5, 60
"""Steady answers' time that a length, and a compromise, may take."""

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


def best(repeats: int, functions: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Shortest time of each, s, after one run that warms up."""
    for function in functions.values():
        function()
    times = dict.fromkeys(functions, math.inf)
    for _ in range(repeats):
        for name, function in functions.items():
            start = time.perf_counter()
            function()
            times[name] = min(times[name], time.perf_counter() - start)
    return times


def physics() -> dict[str, Callable[[], object]]:
    """The models alone, on the invented van."""
    from warmbranch.length.compromise import best_length
    from warmbranch.length.length_for_tone import length_for
    from warmbranch.steady.solve import solve
    from warmbranch_service.length.examples import example
    from warmbranch_service.length.points import points_of
    from warmbranch_service.length.request import LengthRequest

    one = points_of(LengthRequest.model_validate(example("length")))
    five = points_of(LengthRequest.model_validate(example("loudness")))
    case, tone = one.case, np.array([2350 * 2 / 60])
    return {
        "steady": lambda: solve(case),
        "one length": lambda: length_for(case, tone),
        "compromise": lambda: best_length(five.case, five.tones, five.weight, five.aim),
    }


def service() -> dict[str, Callable[[], object]]:
    """Requests to answers, without HTTP."""
    from warmbranch_service.length.answer import answer_length
    from warmbranch_service.length.examples import example
    from warmbranch_service.length.request import LengthRequest
    from warmbranch_service.steady.answer import steady
    from warmbranch_service.steady.request import SteadyRequest

    case = example("length")["case"]
    bare = {"case": case, "target": {"quiet_rpm": 2350}, "diameters": False}
    loud = {**example("loudness"), "two_branches": None, "diameters": False}

    def asked(body: dict[str, object]) -> Callable[[], object]:
        return lambda: answer_length(LengthRequest.model_validate(body)).model_dump_json()

    return {
        "steady": lambda: steady(SteadyRequest.model_validate({"case": case})).model_dump_json(),
        "one length": asked(bare),
        "one length, and its stock neighbours": asked({**bare, "diameters": True}),
        "one length, all that can be asked": asked(example("length")),
        "compromise": asked(loud),
        "compromise, all that can be asked": asked(example("loudness")),
    }


def main(repeats: int = 10) -> None:
    from warmbranch import core

    compiled = core.at_hand() is not None
    print(f"compiled core: {'yes' if compiled else 'no'}; best of {repeats}")
    for title, functions in (("physics", physics()), ("service", service())):
        times = best(repeats, functions)
        unit = times["steady"]
        print(title)
        for name, value in times.items():
            promise = PROMISED_COMPROMISE if name.startswith("compromise") else PROMISED_ONE
            told = "" if name == "steady" else f"{value / unit:8.1f} steady (promised {promise})"
            print(f"  {name:38s}{value * 1e3:9.2f} ms{told}")


if __name__ == "__main__":
    one_thread = dict.fromkeys(THREADS, "1")
    if not one_thread.items() <= os.environ.items():
        # Libraries read these when they are loaded, which is before this line: start again.
        os.execve(sys.executable, [sys.executable, *sys.argv], os.environ | one_thread)
    main(*(int(argument) for argument in sys.argv[1:2]))
