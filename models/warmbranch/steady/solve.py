"""The whole flow on one page: case → temperatures → acoustics → answer."""

from __future__ import annotations

from typing import Any

import numpy as np

from warmbranch import core
from warmbranch.base import stopping
from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.case.case import Case
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.sound import resonance
from warmbranch.sound.resonance import MODES
from warmbranch.steady import quick
from warmbranch.steady.answer import Answer
from warmbranch.steady.fineness import Fineness
from warmbranch.steady.interplay import Mouth, refuse_too_loud, solve_temperatures, state_of
from warmbranch.steady.sketch import balance_and_guess


def solve(
    case: Case,
    *,
    nodes: int = DEFAULT_NODES,
    modes: int = MODES,
    position: FloatArray | None = None,
) -> Answer:
    """Predict a batch of branches.

    Parameters
    ----------
    case : Case
        SI units, kelvin.
    nodes : int
        Of the grid along the branch; ``nodes − 1`` a multiple of ``discretisation.CELLS``.
    modes : int
        Resonances to seek, 1 to 3: who needs the first alone saves time, and nothing else changes.
    position : (designs, nodes) array, m, optional
        Nodes to solve on, from 0 to the length, in place of those that the model chooses.

    Returns
    -------
    Answer

    Raises
    ------
    NotConvergedError
        If the heat balance, or its interplay with pulsation, does not converge.
    InputError
        If the tone that arrives would move the gas at the mouth faster than sound, or a number of
        nodes does not suit the cells of the sound.

    Examples
    --------
    See README.md.
    """
    answer = solve_to(Fineness(nodes, modes), case, position)
    refuse_too_loud(case, answer.main_impedance, answer.duct, answer.resonance[:, 0])
    return answer


def solve_to(
    fineness: Fineness,
    case: Case,
    position: FloatArray | None = None,
    gas: MixtureTable | None = None,
) -> Answer:
    """As :func:`solve`, as finely as is asked for; no tone is too loud.

    Parameters
    ----------
    fineness : Fineness
    case, position
        As for :func:`solve`.
    gas : MixtureTable, optional
        Of one design, where all share it: for who has it.

    Raises
    ------
    NotConvergedError
        If the heat balance, or its interplay with pulsation, does not converge.
    InputError
        If the cells of the sound do not begin at nodes.
    """
    stopping.check()
    _refuse_odd(fineness.nodes if position is None else position.shape[1], fineness.cells)
    compiled = core.at_hand()
    if compiled is None:
        return _step_by_step(fineness, case, position)
    gas = gas or MixtureTable.of(case.gas)
    parts, failed = quick.solve(compiled, fineness, case, gas, position)
    if not np.any(failed):
        return Answer.of_parts(**parts)
    return _joined(fineness, case, parts, failed, position)


def _refuse_odd(nodes: int, cells: int) -> None:
    if nodes <= cells or (nodes - 1) % cells:
        raise InputError(
            f"The sound's {cells} cells do not begin at nodes.",
            field="nodes",
            value=float(nodes),
            unit="1",
            remedy=f"Take a multiple of {cells} and one more.",
        )


def _joined(
    fineness: Fineness,
    case: Case,
    parts: dict[str, Any],
    failed: BoolArray,
    position: FloatArray | None,
) -> Answer:
    """The core's answers and, for what it could not balance, those found on finer grids."""
    hard = np.flatnonzero(failed)
    rest = None if position is None else position[hard]
    try:
        found = _step_by_step(fineness, case.take(hard), rest)
    except NotConvergedError as error:
        raise error.among(hard) from error
    well = np.flatnonzero(~failed)
    if len(well) == 0:
        return found
    both = Answer.concatenate([Answer.of_parts(**parts).take(well), found])
    return both.take(np.argsort(np.concatenate([well, hard])))


def _step_by_step(fineness: Fineness, case: Case, position: FloatArray | None) -> Answer:
    """The same flow in the open, one part after another, as the core goes it at once."""
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    pressure = case.surroundings.pressure
    speed = bulk_speed(case.main_pipe, gas, pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    mouth = Mouth.of(case, gas, speed, wall)

    balance, guess = balance_and_guess(
        case, gas, air, mouth, nodes=fineness.nodes, position=position
    )
    profile = solve_temperatures(balance, mouth, guess, tolerances=fineness.tolerances)
    duct = state_of(case, gas, mouth, profile, fineness.cells).duct
    found, quality = resonance.resonances(duct, fineness.modes)

    hot = case.main_pipe.gas_temperature
    return Answer(
        case=case,
        profile=profile,
        duct=duct,
        main_impedance=mouth.main_impedance,
        main_speed=speed,
        main_sound_speed=mouth.main_sound_speed,
        resonance=found,
        quality_factor=quality[:, 0],
        transit_time=resonance.transit_time_estimate(duct),
        one_temperature=resonance.one_temperature_estimate(case.branch.length, hot),
        length=case.branch.length,
    )
