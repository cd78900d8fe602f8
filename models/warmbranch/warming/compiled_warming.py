# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""The warm-up's heat balance at one moment and its time loop, compiled: see compiled.py.

The balance of gas, wall and skin is the steady one of compiled_steady.py, with what is stored
added; the time loop is compiled from stepping.py.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba
import numpy as np
from numba.extending import register_jitable

from warmbranch.base.batch import FloatArray
from warmbranch.base.compiled import Inside, Outside, Table, options, properties
from warmbranch.heat import nusselt
from warmbranch.heat.compiled_balance import BLOCK, ROOM, balance, solve_blocks
from warmbranch.heat.compiled_outside import outside_flux
from warmbranch.heat.compiled_steady import skin_step
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.warming import dense_output, stepping, storage
from warmbranch.warming.dense_output import GAS, SKIN, WALL
from warmbranch.warming.stepping import LOST, Settings
from warmbranch.warming.storage import Forcing, Store

for _function in (
    storage.gas_at,
    storage.flow_at,
    storage.air_at,
    storage.stored_heat,
    storage.heat_capacity,
    storage.wall_heat,
    storage.wall_capacity,
    dense_output.lagrange,
    stepping.share_of_step,
    dense_output.between,
    nusselt.nusselt_pipe_turbulent,
):
    register_jitable(_function)


class Scratch(NamedTuple):
    """Room for one balance: skins, passes, rows, elimination, change."""

    face: FloatArray
    room: FloatArray
    rows: FloatArray
    work: FloatArray
    change: FloatArray

    @classmethod
    def of(cls, nodes: int) -> Scratch:
        """Room for branches of so many nodes."""
        return cls(
            np.zeros((2, nodes)),
            np.zeros(ROOM),
            np.zeros((nodes, BLOCK)),
            np.zeros((nodes, 6)),
            np.zeros((2, nodes)),
        )


class System(NamedTuple):
    """Everything that the balance at one moment needs.

    ``stirred`` (designs, nodes), m: mixing by stirring over the main pipe's gas speed; ``shaken``
    (designs, nodes), m²/s: mixing by pulsation at the running mass flow ``flow`` (designs,), kg/s;
    ``constant`` (designs, nodes), m²/s: fixed mixing. ``main_bore``, ``main_outside`` (designs,),
    m; ``main_film`` (designs,), inner film over that of steady flow.
    """

    inside: Inside
    outside: Outside
    around_main: Outside
    grid: Table
    stirred: FloatArray
    shaken: FloatArray
    constant: FloatArray
    flow: FloatArray
    main_bore: FloatArray
    main_outside: FloatArray
    main_film: FloatArray
    scratch: Scratch


@numba.njit(**options)
def _set(system: System, forcing: Forcing, i: int, piece: int, time: float) -> None:
    """Put mixing and air speed of one moment in place."""
    inside, outside = system.inside, system.outside
    hot = storage.gas_at(forcing, i, piece, time)
    flow = storage.flow_at(forcing, i, piece, time)
    per_t = outside.pressure[i] / inside.gas_constant[i]
    speed = flow * hot / (per_t * np.pi / 4 * system.main_bore[i] ** 2)
    strength = (flow / system.flow[i]) ** 2 if system.flow[i] > 0 else 1.0
    for n in range(inside.x.shape[1]):
        inside.forced[i, n] = (
            system.constant[i, n] + speed * system.stirred[i, n] + strength * system.shaken[i, n]
        )
    outside.air_speed[i] = storage.air_at(forcing, i, piece, time)


@numba.njit(**options)
def _evaluate(system: System, i: int, here: FloatArray) -> None:
    room = system.scratch
    balance(
        system.inside, system.outside, system.grid, i, here[GAS], here[WALL], here[SKIN],
        room.face, room.room, room.rows,
    )  # fmt: skip


@numba.njit(**options)
def _skin_loss(system: System, i: int, n: int) -> float:
    """What leaves the skin of node ``n`` for the outside, W, from the rows as evaluated."""
    face, rows = system.scratch.face, system.scratch.rows
    conductance = system.inside.wrap_conductance[i, n]
    if np.isinf(conductance):
        return rows[n, 12]
    # rows[12] = through + part (loss − through), face[1] = loss − through.
    part = conductance / (conductance + face[0, n])
    return rows[n, 12] + (1 - part) * face[1, n]


@numba.njit(**options)
def newton(
    system: System,
    store: Store,
    forcing: Forcing,
    settings: Settings,
    i: int,
    piece: int,
    time: float,
    rate: float,
    frozen: bool,
    here: FloatArray,
    known: FloatArray,
    heat: FloatArray,
    bounds: FloatArray,
) -> int:
    """Balance one stage in place: (heat stored − known) × rate and the steady balance.

    ``frozen`` keeps wall and skin and lets the gas alone find its balance. Into ``heat``: what
    enters by the mouth but for the mouth node's own store, and what is lost, W, both to first
    order in the last step, as the linear system holds them. Returns the steps spent, −1 if they
    did not suffice.
    """
    _set(system, forcing, i, piece, time)
    face, rows, work, change = (
        system.scratch.face, system.scratch.rows, system.scratch.work, system.scratch.change,
    )  # fmt: skip
    nodes = here.shape[1]
    before, share = 0.0, 1.0
    earlier = np.zeros(nodes)
    for spent in range(1, stepping.MOST_NEWTON_STEPS + 1):
        _evaluate(system, i, here)
        entering, lost = rows[0, 0] + rows[0, 1], 0.0
        for n in range(nodes):
            row = rows[n]
            if frozen:
                row[1], row[12], row[13] = 0.0, 0.0, 0.0
                row[6:12] = 0.0
                row[9] = 1.0
                continue
            loss = _skin_loss(system, i, n)
            lost += loss
            conductance = system.inside.wrap_conductance[i, n]
            if not np.isinf(conductance):
                through = loss - face[1, n]
                kept = (store.wrap_skin[i, n] * here[SKIN, n] - known[1, n]) * rate
                lost_slope = face[0, n]
                face[0, n] += store.wrap_skin[i, n] * rate
                face[1, n] += kept
                part = conductance / (conductance + face[0, n])
                row[12] = through + part * face[1, n]
                row[13] = part * face[0, n]
                work[n, 0] = lost_slope
            else:
                work[n, 0] = row[13]
            row[1] += (storage.wall_heat(store, i, n, here[WALL, n]) - known[0, n]) * rate
            row[9] += storage.wall_capacity(store, i, n, here[WALL, n]) * rate
        # The slopes of the loss outlive the elimination, which uses the same room.
        loss_slope = work[:, 0].copy()
        entering += rows[0, 12]
        solve_blocks(rows, work, change)
        largest, swing, swung = 0.0, 0.0, 0.0
        for n in range(nodes):
            # The skins' steps take the room of the slopes as they are used up.
            by_skin = 0.0 if frozen else skin_step(system.inside, i, n, face, change[1, n])
            lost += loss_slope[n] * by_skin
            loss_slope[n] = by_skin
            largest = max(largest, abs(change[0, n]), abs(change[1, n]), abs(by_skin))
            if abs(change[0, n]) > abs(swing):
                swing, swung = change[0, n], earlier[n]
            earlier[n] = change[0, n]
        if np.isnan(largest):
            return -1
        # Quadratic convergence foretells the next step from the last two.
        last = largest < settings.newton_step or (
            largest < before and largest * largest < settings.foretold_step * before
        )
        last = last or (spent > stepping.LOOSE_AFTER and largest < stepping.LOOSE_STEP)
        before = largest
        share = 1.0 if last else stepping.share_of_step(swing, swung, share)
        for n in range(nodes):
            here[GAS, n] = min(max(here[GAS, n] + share * change[0, n], bounds[0]), bounds[1])
            here[WALL, n] = min(max(here[WALL, n] + share * change[1, n], bounds[0]), bounds[1])
            here[SKIN, n] = min(max(here[SKIN, n] + share * loss_slope[n], bounds[0]), bounds[1])
        if last:
            entering += rows[0, 5] * change[0, 1] + rows[0, 10] * change[0, 1]
            entering += rows[0, 11] * change[1, 1]
            heat[0], heat[LOST] = entering, lost
            return spent
    return -1


@numba.njit(**options)
def rates(
    system: System,
    store: Store,
    forcing: Forcing,
    i: int,
    piece: int,
    time: float,
    here: FloatArray,
    slope: FloatArray,
    heat: FloatArray,
) -> None:
    """Rates of heating of wall and skin, W, and the heat that enters and is lost."""
    _set(system, forcing, i, piece, time)
    _evaluate(system, i, here)
    face, rows = system.scratch.face, system.scratch.rows
    heat[LOST] = 0.0
    for n in range(here.shape[1]):
        loss = _skin_loss(system, i, n)
        bare = np.isinf(system.inside.wrap_conductance[i, n])
        through = loss if bare else loss - face[1, n]
        heat[LOST] += loss
        slope[0, n] = -(rows[n, 1] + through)
        slope[1, n] = through - loss
        if n == 0:
            heat[0] = rows[0, 0] + rows[0, 1] + through


@numba.njit(**options)
def main_flux(
    system: System, forcing: Forcing, i: int, piece: int, time: float, wall: float
) -> tuple[float, float]:
    """Heat that the main pipe's wall takes up over its outer surface, W/m², and its slope."""
    hot = storage.gas_at(forcing, i, piece, time)
    flow = storage.flow_at(forcing, i, piece, time)
    cp, k, mu, _, _, _ = properties(system.inside.gas[i], system.grid, hot)
    bore = system.main_bore[i]
    reynolds = 4 * flow / (np.pi * bore * mu)
    prandtl = cp * mu / k
    share = (reynolds - nusselt.LAMINAR_LIMIT) / (nusselt.TURBULENT_LIMIT - nusselt.LAMINAR_LIMIT)
    number = nusselt.NUSSELT_LAMINAR
    if share >= 1:
        number = nusselt.nusselt_pipe_turbulent(reynolds, prandtl)
    elif share > 0:
        number += share * (
            nusselt.nusselt_pipe_turbulent(nusselt.TURBULENT_LIMIT, prandtl) - number
        )
    supply = system.main_film[i] * number * k / system.main_outside[i]
    system.around_main.air_speed[i] = storage.air_at(forcing, i, piece, time)
    flux, slope = outside_flux(system.around_main, system.grid, i, wall)
    return supply * (hot - wall) - flux, -supply - slope


_options: dict[str, Any] = options
_main_wall = numba.njit(**_options)(stepping.bound(stepping.main_wall, main_flux=main_flux))
_step = numba.njit(**_options)(stepping.bound(stepping.step, main_wall=_main_wall, newton=newton))
integrate = numba.njit(**_options)(
    stepping.bound(stepping.integrate, step=_step, newton=newton, rates=rates, main_flux=main_flux)
)


def even(values: Any) -> Any:
    """The same tuple with all its arrays of one layout: another one would be compiled anew."""
    return values._replace(
        **{
            name: np.ascontiguousarray(value)
            for name, value in values._asdict().items()
            if isinstance(value, np.ndarray)
        }
    )


def system_of(plain: Any) -> System:
    """The compiled form of a ``warmup_plain.PlainSystem``."""
    case, air = plain.case, plain.air
    size, nodes = plain.x.shape
    forced = np.zeros((size, nodes))
    balanced = HeatBalance(case, plain.gas, air, plain.x, forced)
    pipe, outside = case.main_pipe, case.surroundings
    ones, nothing = np.ones(size), np.full(size, np.nan)

    def around(diameter, length, rise, factor, fixed, emissivity) -> Outside:
        return Outside(
            air.packed[0],
            float(air.gas_constant[0]),
            outside.air_temperature,
            outside.radiant_temperature,
            outside.pressure,
            outside.air_speed.copy(),  # it is written to
            diameter,
            length,
            rise,
            factor,
            fixed,
            emissivity,
        )

    closures, branch = case.closures, case.branch
    system = System(
        inside=Inside(
            plain.gas.packed,
            plain.gas.gas_constant,
            plain.x,
            forced,
            branch.bore,
            branch.wall_area,
            branch.rise,
            balanced.buoyancy,
            closures.stanton,
            closures.fixed_inner_film,
            case.metal.conductivity_coefficients,
            balanced.wrap_conductance,
        ),
        outside=around(
            balanced.skin_diameter,
            branch.length,
            branch.rise,
            closures.outer_film_factor,
            closures.fixed_outer_film,
            case.covering.emissivity,
        ),
        around_main=around(
            pipe.outside_diameter, ones, np.zeros(size), ones, nothing, pipe.emissivity
        ),
        grid=Table(*air.grid),
        stirred=plain.stirred,
        shaken=plain.shaken,
        constant=plain.constant,
        flow=pipe.mass_flow,
        main_bore=pipe.bore,
        main_outside=pipe.outside_diameter,
        main_film=plain.main_film,
        scratch=Scratch.of(nodes),
    )
    return even(system)._replace(
        inside=even(system.inside),
        outside=even(system.outside),
        around_main=even(system.around_main),
    )
