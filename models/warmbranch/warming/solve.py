"""Temperatures of the branch while it warms up or cools down.

The wall stores heat and so does a wrap; the gas balances at once. Mouth gas, mass flow and air
speed follow a :class:`Drive`; the main pipe's wall at the mouth has its own store and balance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch import core
from warmbranch.base import stopping, tally
from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.base.interpolation import interpolated
from warmbranch.case.case import Case
from warmbranch.core import calls, records
from warmbranch.heat.grid import GRADED_NODES
from warmbranch.warming import plain, stepping
from warmbranch.warming.dense_output import DRIED, GAS, SKIN, WALL
from warmbranch.warming.drive import Curve, Drive
from warmbranch.warming.set_up import bounds_of, start_of, store_of, system_of
from warmbranch.warming.stepping import REPORT, Settings
from warmbranch.warming.storage import Forcing, Store, WrapHeat, main_gas

TOLERANCE = 0.03
"""K. Error of a step, by the embedded solution, at the node where it is largest; measured to hold
the first resonance within 2e-4 of the one converged in time."""

NEWTON_SHARE = 0.02
"""Last Newton step over the tolerance: convergence being quadratic, what is left is far less."""

LARGEST_NEWTON_STEP = 1e-3
"""K. Largest last Newton step whatever the tolerance, for the heat's balance over time."""

FORETOLD_SHARE = 0.02
"""A Newton step is the last, too, when the next is foretold below this share of that."""

FIRST_STEP = 1.0
"""s. Longest first step after a jump."""

MOST_TIME_STEPS = 200_000


@dataclass(frozen=True)
class WarmUp:
    """Temperatures against time; every array has the design leading.

    Parameters
    ----------
    case : Case
    drive : Drive
    time : (times,) array, s
    position : (designs, nodes) array, m
    gas, wall, skin : (designs, times, nodes) array, K
        ``wall[:, :, 0]`` is the main pipe's wall at the mouth.
    dried : (designs, times, nodes) array, mol/mol
        Water that a mole of the gas has lost.
    main_gas, mass_flow, air_speed : (designs, times) array; K, kg/s, m/s
    heat_entered, heat_lost, heat_stored : (designs,) array, J
        From the beginning to the end, by the method's own quadrature.
    imbalance : (designs,) array, dimensionless
        Largest, over all times, of ``|entered − lost − stored|`` over the heat that has passed.
    steps, rejected, iterations : (designs,) array
    """

    case: Case
    drive: Drive
    time: FloatArray
    position: FloatArray
    gas: FloatArray
    wall: FloatArray
    skin: FloatArray
    dried: FloatArray
    main_gas: FloatArray
    mass_flow: FloatArray
    air_speed: FloatArray
    heat_entered: FloatArray
    heat_lost: FloatArray
    heat_stored: FloatArray
    imbalance: FloatArray
    steps: FloatArray
    rejected: FloatArray
    iterations: FloatArray


def warm_up(
    case: Case,
    drive: Drive,
    times: FloatArray,
    *,
    wrap: WrapHeat | None = None,
    tolerance: float = TOLERANCE,
    nodes: int = GRADED_NODES,
) -> WarmUp:
    """Follow a batch of branches through a warm-up.

    Parameters
    ----------
    case : Case
        The running condition: what the curves leave open is as here.
    drive : Drive
    times : (times,) array, s
        When to report; rising, from 0 to the drive's duration.
    wrap : WrapHeat, optional
    tolerance : float, K
        Of one step.
    nodes : int

    Returns
    -------
    WarmUp

    Raises
    ------
    NotConvergedError
        If the steps cannot be made short enough, on a grid of twice the nodes either.

    Notes
    -----
    Where the main pipe's skin temperature is given, its inner film is scaled so that its own
    balance has that temperature in the running condition; where no film can do that (a skin
    hotter than the gas), the wall at the mouth keeps the given temperature throughout. Mixing by
    pulsation is that of the running condition, times the square of mass flow over running flow.

    Check
    -----
    Lumped closed forms, a fin's series, scipy's BDF on a finer grid, order of convergence,
    balance of heat and the steady limit, in tests/models/warming/test_solve.py.
    """
    if np.any(np.diff(times) < 0) or np.any(times < 0) or np.any(times > drive.duration):
        raise InputError(
            "The times to report do not rise from 0 to the duration.",
            field="times",
            value=float(times.max(initial=0.0)),
            unit="s",
            remedy=f"Give rising times from 0 to {drive.duration:g} s.",
        )
    try:
        return _followed(case, drive, times, wrap, tolerance, nodes)
    except NotConvergedError:
        # Mixing that dies where the gas hardly falls leaves kinks that a grid may sit astride:
        # on the next finer one, as the steady balance does it.
        return _followed(case, drive, times, wrap, tolerance, 2 * nodes - 1)


def _followed(
    case: Case,
    drive: Drive,
    times: FloatArray,
    wrap: WrapHeat | None,
    tolerance: float,
    nodes: int,
) -> WarmUp:
    system, held = system_of(case, nodes)
    forcing = drive.forcing(case)
    store = store_of(system, held, wrap or WrapHeat.default())
    start = start_of(system, held, drive)
    settings = Settings(
        tolerance,
        min(NEWTON_SHARE * tolerance, LARGEST_NEWTON_STEP),
        FORETOLD_SHARE * min(NEWTON_SHARE * tolerance, LARGEST_NEWTON_STEP),
        FIRST_STEP,
        MOST_TIME_STEPS,
    )
    outputs = np.empty((len(case), len(times), 4, system.x.shape[1]))
    report = _integrate(
        system, (store, forcing, settings, start, bounds_of(case, forcing, start), times, outputs)
    )
    stopping.check()
    tally.add(report[:, REPORT.steps].sum(), report[:, REPORT.iterations].sum())
    short = report[:, REPORT.reached] < drive.duration
    if np.any(short):
        raise NotConvergedError(
            "The warm-up stopped short: its steps could not be made short enough.",
            designs=tuple(int(i) for i in np.flatnonzero(short)),
            residual=float(1 - report[:, REPORT.reached].min() / drive.duration),
            iterations=int(report[:, REPORT.steps].max()),
        )
    by_name = {name: report[:, column] for name, column in REPORT._asdict().items()}
    return WarmUp(
        case=case,
        drive=drive,
        time=times,
        position=system.x,
        gas=outputs[:, :, GAS],
        wall=outputs[:, :, WALL],
        skin=outputs[:, :, SKIN],
        dried=outputs[:, :, DRIED],
        main_gas=main_gas(forcing, times),
        mass_flow=_along(drive.mass_flow, case.main_pipe.mass_flow, times),
        air_speed=_along(drive.air_speed, case.surroundings.air_speed, times),
        heat_entered=by_name["entered"],
        heat_lost=by_name["lost"],
        heat_stored=by_name["stored"],
        imbalance=by_name["imbalance"],
        steps=by_name["steps"],
        rejected=by_name["rejected"],
        iterations=by_name["iterations"],
    )


def skin_at(
    case: Case,
    drive: Drive,
    position: FloatArray,
    time: FloatArray,
    *,
    wrap: WrapHeat | None = None,
    tolerance: float = TOLERANCE,
    nodes: int = GRADED_NODES,
) -> FloatArray:
    """Skin temperatures at places and moments of a warm-up.

    Parameters
    ----------
    case : Case
    drive : Drive
        Its ``drawn_for`` should name the case that the curve belongs to when ``case`` holds draws.
    position, time : (readings,) array; m, s
        Of each reading; the times in any order.

    Returns
    -------
    (designs, readings) array, K
    """
    times, which = np.unique(time, return_inverse=True)
    found = warm_up(case, drive, times, wrap=wrap, tolerance=tolerance, nodes=nodes)
    every = np.empty((len(case), len(position)))
    for moment in range(len(times)):
        mine = which == moment
        skin = np.ascontiguousarray(found.skin[:, moment])
        every[:, mine] = interpolated(found.position, skin, position[mine])
    return every


def _along(curve: Curve | None, constant: FloatArray, times: FloatArray) -> FloatArray:
    shape = (len(constant), len(times))
    if curve is not None:
        return np.broadcast_to(curve.before(times), shape)
    return np.broadcast_to(constant[:, None], shape)


def _integrate(
    system: plain.PlainSystem,
    rest: tuple[Store, Forcing, Settings, FloatArray, FloatArray, FloatArray, FloatArray],
) -> FloatArray:
    compiled = core.at_hand()
    if compiled is None:
        return plain.integrate(system, *rest, stopping.flag())
    store, forcing, settings, start, bounds, times, outputs = rest
    rules = records.SteppingRules(
        settings.tolerance,
        settings.newton_step,
        settings.foretold_step,
        settings.first_step,
        stepping.GAS_SHARE,
        stepping.SMALLEST_STEP,
        stepping.LOOSE_STEP,
        stepping.SWING,
        stepping.SHORTER,
        stepping.LONGER,
        stepping.MAIN_WALL_STEP,
        settings.most_steps,
        stepping.MOST_NEWTON_STEPS,
        stepping.LOOSE_AFTER,
    )
    arrays = {
        "position": system.x,
        "stirred": system.stirred,
        "shaken": system.shaken,
        "constant": system.constant,
        "main_film": system.main_film,
        "start": start,
        "bounds": bounds,
        "times": times,
    }
    return calls.warm_up(
        compiled,
        system.case,
        system.gas,
        system.air,
        rules,
        arrays,
        {name: part for name, part in store._asdict().items() if name != "resists"},
        forcing._asdict(),
        outputs,
    )
