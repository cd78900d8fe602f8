"""The time loop of the warm-up: implicit, with error control, one design after another.

The same in C: core/warm_up.c, which takes the same steps. What is called here to balance the heat
of one design at one moment (``newton``, ``rates``, ``main_flux``) is bound by plain.py.

The wall, the wrap and the main pipe's wall store heat; the gas, whose own store is some five
hundred times smaller, balances at once. The unknown that is stepped is the heat stored, not the
temperature: what a step takes in, gives off and stores then adds up to rounding.
"""

from __future__ import annotations

from collections.abc import Callable
from types import FunctionType
from typing import Any, NamedTuple, cast

import numpy as np

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.warming.dense_output import (
    GAMMA,
    GAS,
    SKIN,
    STAGE_TIMES,
    WALL,
    between,
    lagrange,
)
from warmbranch.warming.storage import (
    Forcing,
    Store,
    gas_at,
    heat_capacity,
    stored_heat,
    wall_capacity,
    wall_heat,
)

STAGES = np.array(
    [
        [0.0, 0.0, 0.0, 0.0],
        [GAMMA, GAMMA, 0.0, 0.0],
        [2746238789719 / 10658868560708, -640167445237 / 6845629431997, GAMMA, 0.0],
        [
            1471266399579 / 7840856788654,
            -4482444167858 / 7529755066697,
            11266239266428 / 11593286722821,
            GAMMA,
        ],
    ]
)
"""ESDIRK3(2)4L[2]SA, the implicit half of ARK3(2)4L[2]SA: order 3 with an embedded solution of
order 2, L-stable, its last stage the new solution. Kennedy & Carpenter, Appl. Numer. Math. 44
(2003) 139; coefficients from memory, held to their order conditions in
tests/models/warming/test_stepping.py."""

EMBEDDED = np.array(
    [
        2756255671327 / 12835298489170,
        -10771552573575 / 22201958757719,
        9247589265047 / 10645013368117,
        2193209047091 / 5459859503100,
    ]
)

DIFFERENCE = STAGES[3] - EMBEDDED

ENTERING, LOST = 0, 1

GAS_SHARE = 0.2
"""Of the gas's departure from a parabola over a step in the step's error: the gas follows from the
wall without an error of its own, but between the stages it is interpolated. ``LOOSE_STEP`` of it
is left out: that may be Newton's."""

SMALLEST_STEP = 1e-7
"""s. A step that must be shorter than this has failed."""

MOST_NEWTON_STEPS = 80

LOOSE_AFTER, LOOSE_STEP = 24, 0.1
"""After so many Newton steps one below so many kelvin is the last: where the counterflow turns
within a cell, its diffusivity all but cancels from the balance there and Newton's method goes
round within a tenth of a kelvin, some 1e-6 of a resonance. Heat is conserved all the same."""

SWING = 0.5
"""A Newton step that takes back more than this share of the one before goes to and fro: where the
counterflow turns, whole steps can for ever. It and those after are shortened, then let grow again;
the last one is always whole, so that the heat of the linear system is that of the state."""

SHORTER, LONGER = 0.5, 1.5
"""Factors by which the steps' share changes."""

MAIN_WALL_STEP = 1e-7
"""K. Last Newton step of the main pipe's wall; quadratic convergence leaves rounding."""


class Settings(NamedTuple):
    """Tolerance of a step, K; last Newton step, or the one foretold to follow it, K; first step
    at most, s; most steps."""

    tolerance: float
    newton_step: float
    foretold_step: float
    first_step: float
    most_steps: int


class Report(NamedTuple):
    """Columns of what a run reports."""

    entered: int = 0
    lost: int = 1
    stored: int = 2
    imbalance: int = 3
    steps: int = 4
    rejected: int = 5
    iterations: int = 6
    reached: int = 7


REPORT = Report()


def bound(function: Any, **names: Any) -> Callable[..., Any]:
    """A function of this module with some of the names it calls bound to others."""
    own = cast("FunctionType", function)
    return FunctionType(own.__code__, {**own.__globals__, **names}, own.__name__)


def share_of_step(now: float, before: float, share: float) -> float:
    """How much of a Newton step to take, from the largest change and the same node's last."""
    if now * before < 0 and abs(now) > SWING * abs(before):
        return share * SHORTER
    return min(1.0, share * LONGER)


def newton(*_: Any) -> int:
    """To be bound: see plain.py."""
    raise NotImplementedError


def rates(*_: Any) -> None:
    """To be bound: see plain.py."""
    raise NotImplementedError


def main_flux(*_: Any) -> tuple[float, float]:
    """To be bound: see plain.py."""
    raise NotImplementedError


def main_wall(
    system: Any,
    store: Store,
    forcing: Forcing,
    i: int,
    piece: int,
    time: float,
    rate: float,
    known: float,
    wall: float,
) -> float:
    """Temperature of the main pipe's wall that closes one stage, K; NaN when none is found."""
    metal, capacity = store.main_metal[i], store.main_capacity[i]
    for _ in range(40):
        flux, slope = main_flux(system, forcing, i, piece, time, wall)
        amiss = (metal * stored_heat(capacity, wall) - known) * rate - flux
        change = amiss / (metal * heat_capacity(capacity, wall) * rate - slope)
        wall -= change
        if abs(change) < MAIN_WALL_STEP:
            return wall
    return np.nan


def step(
    system: Any,
    store: Store,
    forcing: Forcing,
    settings: Settings,
    i: int,
    piece: int,
    time: float,
    length: float,
    last_length: float,
    stage: FloatArray,
    old: FloatArray,
    slope: FloatArray,
    main_slope: FloatArray,
    heat: FloatArray,
    known: FloatArray,
    bounds: FloatArray,
) -> tuple[float, int]:
    """One step of design ``i``: the stages' temperatures, rates and heat; error and iterations.

    ``stage`` (4, 4, nodes) begins with the present state, ``slope`` (4, 2, nodes), W of
    wall and skin, ``main_slope`` (4,), W/m², and ``heat`` (4, 2), W, with the present rates.
    ``old`` (2, 4, nodes) holds the last step's beginning and its stage at 0.6; ``last_length`` is 0
    when there was none. The error is the largest of all nodes, K; infinite when a stage fails.
    """
    nodes = stage.shape[2]
    rate = 1 / (GAMMA * length)
    iterations = 0
    for k in range(1, 4):
        now = time + STAGE_TIMES[k] * length
        here = STAGE_TIMES[k] * length
        if k == 3:
            at = (0.0, STAGE_TIMES[2] * length, STAGE_TIMES[1] * length)
            stage[3] = lagrange(stage[0], stage[2], stage[1], at, here)
        elif k == 2:
            early = STAGE_TIMES[1] * length
            if last_length > 0:
                stage[2] = lagrange(old[0], stage[0], stage[1], (-last_length, 0.0, early), here)
            else:
                stage[2] = stage[0] + here / early * (stage[1] - stage[0])
        elif last_length > 0:
            at = (-last_length, -(1 - STAGE_TIMES[2]) * last_length, 0.0)
            stage[1] = lagrange(old[0], old[1], stage[0], at, here)
        else:
            stage[1] = stage[0]
        for part in (GAS, WALL, SKIN):
            for n in range(nodes):
                # A guess, no more: the stage's own balance decides.
                stage[k, part, n] = min(max(stage[k, part, n], bounds[0]), bounds[1])
        if not store.resists[i]:
            stage[k, GAS, 0] = gas_at(forcing, i, piece, now)
        stage[k, WALL, 0] = stage[0, WALL, 0]
        if not store.main_held[i]:
            capacity = store.main_capacity[i]
            energy = store.main_metal[i] * stored_heat(capacity, stage[0, WALL, 0])
            for j in range(k):
                energy += length * STAGES[k, j] * main_slope[j]
            wall = main_wall(
                system, store, forcing, i, piece, now, rate, energy, stage[k - 1, WALL, 0]
            )
            if np.isnan(wall):
                return np.inf, iterations
            stage[k, WALL, 0] = wall
            found = store.main_metal[i] * stored_heat(capacity, wall)
            main_slope[k] = (found - energy) * rate
        for n in range(nodes):
            known[0, n] = wall_heat(store, i, n, stage[0, WALL, n])
            known[1, n] = store.wrap_skin[i, n] * stage[0, SKIN, n]
            for j in range(k):
                known[0, n] += length * STAGES[k, j] * slope[j, 0, n]
                known[1, n] += length * STAGES[k, j] * slope[j, 1, n]
        if store.wrap_skin[i, 0] == 0:  # bare: the skin is the wall
            stage[k, SKIN, 0] = stage[k, WALL, 0]
        spent = newton(
            system, store, forcing, settings, i, piece, now, rate, False,
            stage[k], known, heat[k], bounds,
        )  # fmt: skip
        if spent < 0:
            return np.inf, iterations
        iterations += spent
        for n in range(nodes):
            slope[k, 0, n] = (wall_heat(store, i, n, stage[k, WALL, n]) - known[0, n]) * rate
            slope[k, 1, n] = (store.wrap_skin[i, n] * stage[k, SKIN, n] - known[1, n]) * rate
        heat[k, ENTERING] += slope[k, 0, 0]
    error = 0.0
    for n in range(nodes):
        of_wall, of_skin = 0.0, 0.0
        for j in range(4):
            of_wall += DIFFERENCE[j] * slope[j, 0, n]
            of_skin += DIFFERENCE[j] * slope[j, 1, n]
        error = max(error, abs(length * of_wall) / wall_capacity(store, i, n, stage[3, WALL, n]))
        if store.wrap_skin[i, n] > 0:
            error = max(error, abs(length * of_skin) / store.wrap_skin[i, n])
    at = (0.0, STAGE_TIMES[1], STAGE_TIMES[3])
    bent = lagrange(stage[0], stage[1], stage[3], at, STAGE_TIMES[2])
    for n in range(nodes):
        off = abs(stage[2, GAS, n] - bent[GAS, n]) - LOOSE_STEP
        error = max(error, GAS_SHARE * off)
    return error, iterations


def integrate(
    system: Any,
    store: Store,
    forcing: Forcing,
    settings: Settings,
    start: FloatArray,
    bounds: FloatArray,
    times: FloatArray,
    outputs: FloatArray,
    stop: IntArray,
) -> FloatArray:
    """Step every design from ``start`` (designs, 4, nodes) to the end of the curves.

    Fills ``outputs`` (designs, times, 4, nodes) at the ``times``, rising, s, and returns the
    columns of :data:`REPORT`, (designs, 8): heat that entered, was lost, was stored, J; largest
    imbalance of a step over the heat that has passed; steps taken and rejected; Newton steps;
    the time reached. ``bounds`` (designs, 2), K, hold all temperatures. Ends early, short of its
    time, once ``stop`` (1,) is no longer 0.
    """
    designs, _, nodes = start.shape
    report = np.zeros((designs, len(REPORT)))
    stage, old = np.empty((4, 4, nodes)), np.empty((2, 4, nodes))
    slope, main_slope = np.zeros((4, 2, nodes)), np.zeros(4)
    heat, known = np.zeros((4, 2)), np.zeros((2, nodes))
    pieces = len(forcing.breaks) - 1
    for i in range(designs):
        stage[0] = start[i]
        time, length, output, passed = forcing.breaks[0], 0.0, 0, 1e-9
        done = 0
        for piece in range(pieces):
            end = forcing.breaks[piece + 1]
            # Whatever bends or jumps here, the gas balances anew and the steps begin anew.
            hot = gas_at(forcing, i, piece, time)
            missed = hot - stage[0, GAS, 0]
            if not store.resists[i]:
                for n in range(nodes):
                    stage[0, GAS, n] += missed * store.fall[i, n]
                stage[0, GAS, 0] = hot
            spent = newton(
                system, store, forcing, settings, i, piece, time, 0.0, True,
                stage[0], known, heat[0], bounds[i],
            )  # fmt: skip
            if spent < 0:
                break
            report[i, REPORT.iterations] += spent
            rates(system, store, forcing, i, piece, time, stage[0], slope[0], heat[0])
            main_slope[0] = 0.0
            if not store.main_held[i]:
                main_slope[0], _ = main_flux(system, forcing, i, piece, time, stage[0, WALL, 0])
            capacity = heat_capacity(store.main_capacity[i], stage[0, WALL, 0])
            warming = main_slope[0] / (store.main_metal[i] * capacity)
            slope[0, 0, 0] = wall_capacity(store, i, 0, stage[0, WALL, 0]) * warming
            heat[0, ENTERING] += slope[0, 0, 0]
            fastest = abs(warming)
            for n in range(1, nodes):
                of_wall = slope[0, 0, n] / wall_capacity(store, i, n, stage[0, WALL, n])
                fastest = max(fastest, abs(of_wall))
            if output < len(times) and times[output] <= time:
                outputs[i, output] = stage[0]
                output += 1
            if length == 0.0 or forcing.jumps[piece]:
                # As far as a straight line would go for some tolerances.
                length = min(settings.first_step, 20 * settings.tolerance / (fastest + 1e-9))
            last_length = 0.0
            while time < end:
                if stop[0] != 0:
                    return report
                left = end - time
                if length > 0.99 * left:
                    length = left
                elif length > left / 2:
                    length = left / 2  # two even steps rather than one and a sliver
                error, spent = step(
                    system, store, forcing, settings, i, piece, time, length, last_length,
                    stage, old, slope, main_slope, heat, known, bounds[i],
                )  # fmt: skip
                report[i, REPORT.iterations] += spent
                if not error <= settings.tolerance:
                    report[i, REPORT.rejected] += 1
                    length *= (
                        0.2
                        if np.isinf(error)
                        else max(0.2, 0.9 * (settings.tolerance / error) ** (1 / 3))
                    )
                    if length < SMALLEST_STEP:
                        break
                    continue
                ends = time + length
                if ends > end * (1 - 1e-12):
                    ends = end
                while output < len(times) and times[output] <= ends:
                    between(
                        store, i, (times[output] - time) / length, length,
                        gas_at(forcing, i, piece, times[output]), stage, slope, outputs[i, output],
                    )  # fmt: skip
                    output += 1
                taken = np.zeros(3)
                for k in range(4):
                    taken[0] += length * STAGES[3, k] * heat[k, ENTERING]
                    taken[1] += length * STAGES[3, k] * heat[k, LOST]
                    passed += length * abs(heat[k, ENTERING]) / 4 + length * abs(heat[k, LOST]) / 4
                for n in range(nodes):
                    taken[2] += wall_heat(store, i, n, stage[3, WALL, n])
                    taken[2] -= wall_heat(store, i, n, stage[0, WALL, n])
                    risen = stage[3, SKIN, n] - stage[0, SKIN, n]
                    taken[2] += store.wrap_skin[i, n] * risen
                report[i, : REPORT.imbalance] += taken
                total = (
                    report[i, REPORT.entered] - report[i, REPORT.lost] - report[i, REPORT.stored]
                )
                report[i, REPORT.imbalance] = max(report[i, REPORT.imbalance], abs(total) / passed)
                old[0], old[1] = stage[0], stage[2]
                stage[0], slope[0], heat[0] = stage[3], slope[3], heat[3]
                main_slope[0] = main_slope[3]
                time, last_length = ends, length
                length *= min(4.0, 0.9 * (settings.tolerance / (error + 1e-12)) ** (1 / 3))
                report[i, REPORT.steps] += 1
                done += 1
                if done >= settings.most_steps:
                    break
            if time < end:
                break
        report[i, REPORT.reached] = time
    return report
