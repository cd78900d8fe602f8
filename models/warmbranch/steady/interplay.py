"""Heat and sound of one branch, which meet where pulsation mixes the gas."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from warmbranch.base import stopping
from warmbranch.base.batch import Batched, BoolArray, FloatArray
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.case.bores import area_ratio_between
from warmbranch.case.case import Case
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.discretise import heat_balance, pulsating
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.linearised import node_mean
from warmbranch.heat.mouth_exchange import mouth_resistance
from warmbranch.heat.newton import TOLERANCES, Tolerances
from warmbranch.heat.profile import TemperatureProfile, Temperatures, in_order
from warmbranch.heat.temperature import solve_steady
from warmbranch.sound import acoustics, discretisation, resonance
from warmbranch.sound.acoustics import Duct
from warmbranch.sound.mouth import mouth_lengths, over_flow
from warmbranch.sound.mouth_loss import mouth_velocity
from warmbranch.steady.stepped import bore_ratios

PULSATION_TOLERANCE = 1e-8
"""Relative change of the first resonance at which mixing by pulsation and sound agree."""

STEADY_SHRINKING = 0.1
"""Change of a pass over that of the pass before below which the factor is taken to hold ..."""

FORETOLD = 0.01
"""... and share of the agreement that the foretold change may have."""

MOST_PASSES = 60

FREE_PASSES = 12
"""From here on a design whose resonance comes and goes is held at the estimate. Where losses leave
a resonance by a hair, mixing at it may take it away, and mixing at the estimate may bring it back:
no tone agrees with its own mixing then, and one that always is has to be chosen."""


@dataclass(frozen=True)
class Mouth(Batched):
    """What the branch meets at the main pipe."""

    speed: FloatArray
    resistance: FloatArray
    wall: FloatArray
    inertance: FloatArray
    grazed_inertance: FloatArray
    crossing_time: FloatArray
    main_impedance: FloatArray
    main_sound_speed: FloatArray

    @classmethod
    def of(cls, case: Case, gas: MixtureTable, speed: FloatArray, wall: FloatArray) -> Mouth:
        """From the bulk speed, m/s, and the wall temperature, K, of the main pipe."""
        hot = case.main_pipe.gas_temperature[:, None]
        density = gas.density(hot, case.surroundings.pressure)[:, 0]
        sound_speed = gas.sound_speed(hot)[:, 0]
        pipe, bore = case.main_pipe, case.branch.bore
        velocity = mouth_velocity(
            flow_loss=case.closures.flow_loss,
            level_loss=case.closures.level_loss,
            mach=speed / sound_speed,
            sound_speed=sound_speed,
            characteristic=density * sound_speed,
            cap_pressure=pipe.cap_pressure,
            incident_pressure=pipe.incident_pressure,
            area_ratio=case.branch.bore_area / pipe.bore_area,
            wall=0.0,
        )
        level = over_flow(velocity, speed)
        still, grazed = mouth_lengths(case.closures, bore, pipe.bore, level)
        per_length = density / case.branch.bore_area
        return cls.of_parts(
            speed=speed,
            resistance=mouth_resistance(case, gas, speed),
            wall=wall,
            inertance=per_length * still,
            grazed_inertance=per_length * grazed,
            crossing_time=over_flow(bore, speed),
            main_impedance=density * sound_speed / pipe.bore_area,
            main_sound_speed=sound_speed,
        )


@dataclass(frozen=True)
class State(Batched):
    """Temperatures, and the duct that they make."""

    profile: Temperatures
    duct: Duct


def state_of(
    case: Case,
    gas: MixtureTable,
    mouth: Mouth,
    profile: Temperatures,
    cells: int = discretisation.CELLS,
) -> State:
    """The duct that temperatures make of a branch."""
    tone = case.closures.tone
    inertance_ratio, area_ratio = bore_ratios(case.branch, profile.position)
    duct = discretisation.duct(
        profile.position / tone[:, None],
        profile.gas,
        gas,
        case.surroundings.pressure,
        radius=case.branch.bore / 2,
        inertance_ratio=inertance_ratio,
        mouth_inertance=mouth.inertance / tone,
        wall_losses=case.closures.wall_losses,
        wall=profile.wall,
        dried=profile.dried,
        cells=cells,
        area_ratio=area_ratio,
        grazed_inertance=mouth.grazed_inertance / tone,
        crossing_time=mouth.crossing_time,
    )
    return State.of_parts(profile=profile, duct=duct)


def solve_temperatures(
    balance: HeatBalance,
    mouth: Mouth,
    guess: Temperatures | None = None,
    *,
    agreement: float = PULSATION_TOLERANCE,
    tolerances: Tolerances = TOLERANCES,
) -> TemperatureProfile:
    """Steady temperatures, with the mixing by pulsation where there is any.

    Parameters
    ----------
    balance : HeatBalance
        Without pulsation.
    mouth : Mouth
    guess : Temperatures, optional
        Where to start, on the balance's nodes.
    agreement : float
        Relative change of the first resonance at which mixing by pulsation and sound agree.
    tolerances : Tolerances
        As of :func:`temperature.solve_steady`.

    Returns
    -------
    TemperatureProfile

    Raises
    ------
    NotConvergedError
        If the heat balance, or its interplay with the sound, does not converge.
    """
    driven = np.flatnonzero(balance.case.main_pipe.incident_pressure > 0)
    if len(driven) == 0:
        return solve_steady(balance, mouth.wall, guess, tolerances=tolerances)
    rest = np.setdiff1d(np.arange(len(mouth)), driven)
    if guess is None:
        at_rest = solve_steady(balance, mouth.wall, tolerances=tolerances)
        still, guess = at_rest.take(rest), at_rest
    else:
        still = _still(balance, mouth, guess, rest, tolerances) if len(rest) else None
    try:
        profile = _pulsating(
            balance.take(driven), mouth.take(driven), guess.take(driven), agreement, tolerances
        )
    except NotConvergedError as error:
        raise error.among(driven) from error
    return profile if still is None else in_order([(rest, still), (driven, profile)])


def _still(
    balance: HeatBalance,
    mouth: Mouth,
    guess: Temperatures,
    which: NDArray[np.intp],
    tolerances: Tolerances,
) -> TemperatureProfile:
    """Steady temperatures of the designs that do not pulsate."""
    own, near = balance.take(which), guess.take(which)
    try:
        return solve_steady(own, mouth.wall[which], near, tolerances=tolerances)
    except NotConvergedError as error:
        raise error.among(which) from error


def _pulsating(
    balance: HeatBalance,
    mouth: Mouth,
    guess: Temperatures,
    agreement: float,
    tolerances: Tolerances,
) -> TemperatureProfile:
    """Repeat heat and sound until the mixing by pulsation belongs to the sound it makes.

    Each design is repeated until it agrees. The tone is held at the first resonance, where
    pulsation is strongest; at its estimate where there is none, or where it comes and goes (see
    ``FREE_PASSES``). ``guess`` is where to start.
    """
    open_ = np.arange(len(mouth))
    met: list[tuple[NDArray[np.intp], TemperatureProfile]] = []
    before = state_of(balance.case, balance.gas, mouth, guess)
    frequency, known = _tone(before.duct)
    change, estimated = np.zeros(len(mouth)), np.zeros(len(mouth), dtype=bool)
    for number in range(MOST_PASSES):
        stopping.check()
        duct, position = before.duct, before.profile.position
        swing = displacement(balance.case, mouth.main_impedance, duct, position, frequency)
        shaken = pulsating(balance, swing, frequency, before.profile.gas)
        try:
            profile = solve_steady(shaken, mouth.wall, before.profile, tolerances=tolerances)
        except NotConvergedError as error:
            raise error.among(open_) from error
        after = state_of(balance.case, balance.gas, mouth, profile)
        tone, still_known = _tone(after.duct)
        if number >= FREE_PASSES:
            estimated |= known != still_known
        if np.any(estimated):
            tone = np.where(estimated, resonance.transit_time_estimate(after.duct), tone)
        known = still_known
        change, earlier = np.abs(tone / frequency - 1), change
        # Passes shrink the change by about one factor each: the last two foretell the next.
        shrinks = (change < STEADY_SHRINKING * earlier) & (
            change**2 < FORETOLD * agreement * earlier
        )
        agrees = (change < agreement) | shrinks
        differs = ~agrees
        if np.any(agrees):
            met.append((open_[agrees], profile.take(agrees)))
            open_, balance, mouth = open_[differs], balance.take(differs), mouth.take(differs)
            after, tone, change = after.take(differs), tone[differs], change[differs]
            known, estimated = known[differs], estimated[differs]
        before, frequency = after, tone
        if len(open_) == 0:
            return in_order(met)
    raise NotConvergedError(
        "Heat loss and mixing by pulsation did not agree.",
        designs=tuple(int(i) for i in open_),
        residual=float(change.max()),
        iterations=MOST_PASSES,
    )


def _tone(duct: Duct) -> tuple[FloatArray, BoolArray]:
    """First resonance, or its estimate where losses leave none, Hz; whether there is one."""
    first = resonance.resonances(duct, 1)[0][:, 0]
    known = ~np.isnan(first)
    return np.where(known, first, resonance.transit_time_estimate(duct)), known


def refuse_too_loud(
    case: Case, main_impedance: FloatArray, duct: Duct, frequency: FloatArray
) -> None:
    """See that the tone that arrives can be one: the acoustics is linear, its gas is not.

    Parameters
    ----------
    case : Case
    main_impedance : (designs,) array, Pa s/m³
    duct : Duct
    frequency : (designs,) array, Hz
        Resonances; where one is NaN nothing is looked at.

    Raises
    ------
    InputError
        If it would move the gas at the mouth faster than sound.
    """
    arriving = case.main_pipe.incident_pressure
    driven = np.flatnonzero(arriving > 0)
    if len(driven) == 0:
        return
    own, known = duct.take(driven), np.where(np.isnan(frequency), 1.0, frequency)[driven]
    impedance = acoustics.input_impedance(own, known[:, None])[:, 0]
    flow = 2 * arriving[driven] / np.abs(2 * impedance + main_impedance[driven])
    sound_speed = np.sqrt(own.bulk_modulus[:, 0] / own.density[:, 0])
    mach = flow / case.branch.bore_area[driven] / sound_speed
    loud = np.flatnonzero((mach > 1) & ~np.isnan(frequency[driven]))
    if len(loud):
        worst = loud[0]
        raise InputError(
            f"The tone would move the gas at the mouth at {mach[worst]:.3g} times the speed of "
            "sound.",
            field="main_pipe.incident_pressure",
            value=float(arriving[driven][worst]),
            unit="Pa",
            remedy=f"Give at most {float(arriving[driven][worst] / mach[worst]):.3g} Pa.",
        )


def balance_of(
    case: Case,
    gas: MixtureTable,
    air: MixtureTable,
    speed: FloatArray,
    profile: Temperatures,
    main_impedance: FloatArray,
    duct: Duct,
    tone: FloatArray,
) -> HeatBalance:
    """The balance that solved temperatures are in, mixing by pulsation at the ``tone`` with it.

    ``speed`` is that of the main pipe's bulk, (designs,), m/s; ``tone`` (designs,), Hz.
    """
    balance = heat_balance(case, gas, air, speed, position=profile.position)
    if not np.any(case.main_pipe.incident_pressure > 0):
        return balance
    swing = displacement(case, main_impedance, duct, profile.position, tone)
    return pulsating(balance, swing, tone, profile.gas)


def displacement(
    case: Case,
    main_impedance: FloatArray,
    duct: Duct,
    position: FloatArray,
    frequency: FloatArray,
) -> FloatArray:
    """Amplitude of the gas's displacement at the (designs, nodes) of the duct, m."""
    impedance, flow = acoustics.flow(duct, frequency)
    velocity = 2 * case.main_pipe.incident_pressure
    velocity = velocity / np.abs(2 * impedance + main_impedance)
    # Each cell begins at a node; in between, linear.
    designs, cells = duct.cell_length.shape
    heard = position / case.closures.tone[:, None]  # as the duct has it
    per_cell = (position.shape[1] - 1) // cells
    begins = heard[:, :-1:per_cell, None]
    share = heard[:, :-1].reshape(designs, cells, per_cell) - begins
    share /= duct.cell_length[:, :, None]
    swing = np.empty_like(position)
    within = flow[:, :-1, None] + share * np.diff(flow, axis=1)[:, :, None]
    swing[:, :-1], swing[:, -1] = within.reshape(designs, -1), flow[:, -1]
    if case.branch.stepped.any():
        swing /= node_mean(area_ratio_between(case.branch, position))
    return (velocity / (2 * np.pi * frequency * case.branch.bore_area))[:, None] * swing
