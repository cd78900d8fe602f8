"""Temperatures of the branch while it warms up or cools down.

The wall stores heat and so does a wrap; the gas balances at once. Mouth gas, mass flow and air
speed follow a :class:`Drive`; the main pipe's wall at the mouth has its own store and balance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch import core
from warmbranch.base import stopping, tally
from warmbranch.base.batch import Batched, BoolArray, FloatArray
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.base.interpolation import interpolated
from warmbranch.case.case import Case
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.core import calls, records
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.discretise import cap_pressure_of, heat_balance, pulsation_strength
from warmbranch.heat.grid import GRADED_NODES
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.main_pipe_film import main_film
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.mixing import pulsation, stirred_mouth
from warmbranch.heat.mouth_exchange import mouth_resistance
from warmbranch.heat.temperature import solve_steady
from warmbranch.steady.interplay import displacement
from warmbranch.steady.solve import solve
from warmbranch.warming import plain, stepping
from warmbranch.warming.dense_output import GAS, SKIN, WALL
from warmbranch.warming.drive import Curve, Drive
from warmbranch.warming.stepping import REPORT, Settings
from warmbranch.warming.storage import Forcing, Store, main_gas

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

WRAP_DENSITY = 500.0
"""kg/m³ as fitted: between a loose blanket (100) and tape wound tight (900). Our assumption."""

WRAP_HEAT_CAPACITY = 800.0
"""J/(kg K), of glass and basalt fibre near room temperature, from memory."""


@dataclass(frozen=True)
class WrapHeat(Batched):
    """What a wrap stores.

    Parameters
    ----------
    density : (designs,) array, kg/m³
        As fitted, air between the fibres included.
    heat_capacity : (designs,) array, J/(kg K)
    """

    density: FloatArray
    heat_capacity: FloatArray

    @classmethod
    def default(cls) -> WrapHeat:
        """``WRAP_DENSITY`` and ``WRAP_HEAT_CAPACITY``, one design."""
        return cls(np.array([WRAP_DENSITY]), np.array([WRAP_HEAT_CAPACITY]))


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
        If the steps cannot be made short enough.

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
    system, held = _system(case, nodes)
    forcing = drive.forcing(case)
    store = _store(system, held, wrap or WrapHeat.default())
    start = _start(system, held, drive)
    settings = Settings(
        tolerance,
        min(NEWTON_SHARE * tolerance, LARGEST_NEWTON_STEP),
        FORETOLD_SHARE * min(NEWTON_SHARE * tolerance, LARGEST_NEWTON_STEP),
        FIRST_STEP,
        MOST_TIME_STEPS,
    )
    outputs = np.empty((len(case), len(times), 3, system.x.shape[1]))
    report = _integrate(
        system, (store, forcing, settings, start, _bounds(case, forcing, start), times, outputs)
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


def _system(case: Case, nodes: int) -> tuple[plain.PlainSystem, BoolArray]:
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    branch, closures = case.branch, case.closures
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    x = heat_balance(case, gas, air, speed, nodes=nodes).x
    fixed = closures.fixed_diffusivity[:, None]
    free = np.isnan(fixed)
    one = np.ones(len(case))
    stirred = stirred_mouth(
        x, branch.bore, one, closures.stirring, closures.reach, closures.sharpness
    )
    film, held = main_film(case, gas)
    shaken, cap_pressure = _shaken(case, gas, x)
    system = plain.PlainSystem(
        case=case.changed(main_pipe=case.main_pipe.changed(cap_pressure=cap_pressure)),
        gas=gas,
        air=air,
        x=x,
        stirred=np.where(free, stirred, 0.0),
        shaken=np.where(free, shaken, 0.0),
        constant=np.where(free, 0.0, fixed) * np.ones_like(x),
        main_film=film,
    )
    return system, held


def _shaken(case: Case, gas: MixtureTable, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mixing by pulsation in the running condition, m²/s, and the pressure at the cap, Pa."""
    pipe = case.main_pipe
    if not np.any(pipe.incident_pressure > 0):
        return np.zeros_like(x), pipe.cap_pressure
    answer = solve(case, modes=1, position=x)
    duct, first = answer.duct, answer.resonance[:, 0]
    frequency = np.where(np.isnan(first), 1 / (4 * duct.transit_time), first)
    swing = displacement(case, answer.main_impedance, duct, x, frequency)
    strength = pulsation_strength(case, gas, answer.profile.gas, frequency)
    told = cap_pressure_of(case, gas, swing[:, 0], frequency)
    cap_pressure = np.where(pipe.incident_pressure > 0, told, pipe.cap_pressure)
    return pulsation(swing, frequency, strength), cap_pressure


def _store(system: plain.PlainSystem, held: BoolArray, wrap: WrapHeat) -> Store:
    case, x = system.case, system.x
    branch, covering, pipe = case.branch, case.covering, case.main_pipe
    still = np.zeros(len(case))
    balance = HeatBalance(case, system.gas, system.air, x, system.constant, still, still)
    metal = branch.wall_area[:, None] * balance.width
    metal[:, -1] += np.pi / 4 * branch.outside_diameter**2 * branch.cap_thickness
    skin_diameter = balance.skin_diameter
    section = np.pi / 4 * (skin_diameter**2 - branch.outside_diameter**2)
    volume = section[:, None] * balance.width
    volume[:, -1] += np.pi / 4 * skin_diameter**2 * covering.wrap_thickness
    half = volume * (wrap.density * wrap.heat_capacity)[:, None] / 2  # one design or all
    main_section = np.pi / 4 * pipe.outside_diameter**2 - pipe.bore_area
    # The main pipe is taken to be of the branch's metal.
    capacity = case.metal.heat_capacity_coefficients
    return Store(
        metal=metal * case.metal.density[:, None],
        wrap_wall=half,
        wrap_skin=half.copy(),
        capacity=capacity,
        main_metal=case.metal.density * main_section / (np.pi * pipe.outside_diameter),
        main_capacity=capacity,
        main_held=held,
        fall=np.exp(-x / (6 * branch.bore)[:, None]),
        resists=np.isfinite(case.closures.mouth_exchange),
    )


def _start(system: plain.PlainSystem, held: BoolArray, drive: Drive) -> FloatArray:
    """Temperatures at the beginning, (designs, 3, nodes)."""
    case, x = system.case, system.x
    start = np.empty((len(case), 3, x.shape[1]))
    given = case.main_pipe.skin_temperature
    if not drive.warm:
        start[:] = case.surroundings.air_temperature[:, None, None]
        start[held, WALL:, 0] = given[held, None]
        return start
    speed = bulk_speed(case.main_pipe, system.gas, case.surroundings.pressure)
    forced = system.constant + speed[:, None] * system.stirred + system.shaken
    wall = wall_temperature(case.main_pipe, system.gas, case.surroundings, system.air)
    balance = HeatBalance(
        case,
        system.gas,
        system.air,
        x,
        forced,
        mouth_resistance(case, system.gas, speed),
        case.main_pipe.gas_temperature,
    )
    profile = solve_steady(balance, wall)
    start[:, GAS], start[:, WALL] = profile.gas, profile.wall
    start[:, SKIN] = profile.skin
    return start


def _bounds(case: Case, forcing: Forcing, start: FloatArray) -> FloatArray:
    """What no temperature leaves, with a margin for guesses, (designs, 2), K."""
    ends = forcing.gas_start + forcing.gas_slope * np.diff(forcing.breaks)
    outside = case.surroundings
    lag = np.cumsum(forcing.lag_amount, axis=1)[:, -1:]
    every = np.concatenate(
        [
            forcing.gas_start,
            ends,
            forcing.gas_start[:, :1] + lag,
            start.min(axis=(1, 2))[:, None],
            start.max(axis=(1, 2))[:, None],
            outside.air_temperature[:, None],
            outside.radiant_temperature[:, None],
        ],
        axis=1,
    )
    low, high = every.min(axis=1), every.max(axis=1)
    margin = 0.05 * (high - low) + 1.0
    return np.stack([low - margin, high + margin], axis=1)


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
