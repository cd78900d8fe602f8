"""What a warm-up starts from: the batch on its grid, its stores, the first temperatures."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.case.bores import evened
from warmbranch.case.case import Case
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.discretise import cap_pressure_of, heat_balance, pulsation_strength
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.main_pipe_film import main_film
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.mixing import pulsation, stirred_mouth
from warmbranch.heat.mouth_exchange import mouth_resistance
from warmbranch.heat.sections import volumes
from warmbranch.heat.temperature import solve_steady
from warmbranch.steady.interplay import displacement
from warmbranch.steady.solve import solve
from warmbranch.warming import plain
from warmbranch.warming.dense_output import DRIED, GAS, SKIN, WALL
from warmbranch.warming.drive import Drive
from warmbranch.warming.storage import Forcing, Store, WrapHeat


def system_of(case: Case, nodes: int) -> tuple[plain.PlainSystem, BoolArray]:
    """The batch on its grid, and whose main pipe's wall keeps its temperature, (designs,)."""
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    branch, closures = case.branch, case.closures
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    x = heat_balance(case, gas, air, speed, nodes=nodes).x
    fixed = closures.fixed_diffusivity[:, None]
    free = np.isnan(fixed)
    one = np.ones(len(case))
    stirred = stirred_mouth(
        evened(branch, x), branch.bore, one, closures.stirring, closures.reach, closures.sharpness
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


def store_of(system: plain.PlainSystem, held: BoolArray, wrap: WrapHeat) -> Store:
    """What wall, wrap and main pipe store."""
    case, x = system.case, system.x
    branch, covering, pipe = case.branch, case.covering, case.main_pipe
    at_cap = branch.at_cap[0]
    metal, volume = volumes(branch, covering, x)
    metal[:, -1] += np.pi / 4 * at_cap**2 * branch.cap_thickness
    skin_at_cap = at_cap + 2 * covering.wrap_thickness
    volume[:, -1] += np.pi / 4 * skin_at_cap**2 * covering.wrap_thickness
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


def start_of(system: plain.PlainSystem, held: BoolArray, drive: Drive) -> FloatArray:
    """Temperatures, and the gas's dryness, at the beginning, (designs, 4, nodes)."""
    case, x = system.case, system.x
    start = np.zeros((len(case), 4, x.shape[1]))
    given = case.main_pipe.skin_temperature
    if not drive.warm:
        start[:, :DRIED] = case.surroundings.air_temperature[:, None, None]
        start[held, WALL:DRIED, 0] = given[held, None]
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
    start[:, SKIN], start[:, DRIED] = profile.skin, profile.dried
    return start


def bounds_of(case: Case, forcing: Forcing, start: FloatArray) -> FloatArray:
    """What no temperature leaves, with a margin for guesses, (designs, 2), K."""
    ends = forcing.gas_start + forcing.gas_slope * np.diff(forcing.breaks)
    outside = case.surroundings
    lag = np.cumsum(forcing.lag_amount, axis=1)[:, -1:]
    every = np.concatenate(
        [
            forcing.gas_start,
            ends,
            forcing.gas_start[:, :1] + lag,
            start[:, :DRIED].min(axis=(1, 2))[:, None],
            start[:, :DRIED].max(axis=(1, 2))[:, None],
            outside.air_temperature[:, None],
            outside.radiant_temperature[:, None],
            outside.rear.air_temperature[:, None],
            outside.rear.radiant_temperature[:, None],
        ],
        axis=1,
    )
    low, high = every.min(axis=1), every.max(axis=1)
    margin = 0.05 * (high - low) + 1.0
    return np.stack([low - margin, high + margin], axis=1)
