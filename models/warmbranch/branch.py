"""The whole flow on one page: case → temperatures → acoustics → answer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from warmbranch import acoustics, cutting, resonance, stopping
from warmbranch.acoustics import Duct
from warmbranch.batch import Batched, FloatArray
from warmbranch.case import Case
from warmbranch.cautions import Finding, findings
from warmbranch.errors import NotConvergedError
from warmbranch.gas import MixtureTable, dry_air_table
from warmbranch.geometry import inertance_ratio_between
from warmbranch.grid import DEFAULT_NODES
from warmbranch.heat_balance import HeatBalance
from warmbranch.main_pipe import bulk_speed, wall_temperature
from warmbranch.mouth import mouth_length
from warmbranch.resonance import MODES
from warmbranch.saturation import dew_point
from warmbranch.temperature import TemperatureProfile, heat_balance, pulsating, solve_steady

PULSATION_TOLERANCE = 1e-8
"""Relative change of the first resonance at which mixing by pulsation and sound agree."""

MOST_PASSES = 60


@dataclass(frozen=True)
class Answer(Batched):
    """What the model says of a batch of branches; every array has the design leading.

    Parameters
    ----------
    case : Case
    profile : TemperatureProfile
    sound_speed : (designs, nodes) array, m/s
    duct : Duct
        The branch as the acoustics sees it.
    main_impedance : (designs,) array, Pa s/m³
        ρ c / S of the main pipe.
    main_speed, main_sound_speed : (designs,) array, m/s
    resonance : (designs, modes) array, Hz
        NaN where losses leave none.
    quality_factor : (designs,) array
    transit_time, one_temperature : (designs,) array, Hz
    effective_temperature : (designs,) array, K
    mouth_correction, length : (designs,) array, m
    dew_point : (designs,) array, K
        Of the gas; NaN where it is dry.
    """

    case: Case
    profile: TemperatureProfile
    sound_speed: FloatArray
    duct: Duct
    main_impedance: FloatArray
    main_speed: FloatArray
    main_sound_speed: FloatArray
    resonance: FloatArray
    quality_factor: FloatArray
    transit_time: FloatArray
    one_temperature: FloatArray
    effective_temperature: FloatArray
    mouth_correction: FloatArray
    length: FloatArray
    dew_point: FloatArray

    def transmission_loss(self, frequencies: FloatArray) -> FloatArray:
        """Transmission loss on the main pipe, dB, at (designs, n) frequencies, Hz."""
        impedance = acoustics.input_impedance(self.duct, frequencies)
        return acoustics.transmission_loss(impedance, self.main_impedance[:, None])

    @property
    def findings(self) -> tuple[tuple[Finding, ...], ...]:
        """What the user should know of each design: see cautions.py."""
        return findings(self)


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
        Of the grid along the branch; ``nodes − 1`` a multiple of ``cutting.CELLS``.
    modes : int
        Resonances to seek, 1 to 3: who needs the first alone saves time, and nothing else changes.
    position : (designs, nodes) array, m, optional
        Nodes to solve on, from 0 to the length, in place of the grading that the model chooses.

    Returns
    -------
    Answer

    Raises
    ------
    NotConvergedError
        If the heat balance, or its interplay with pulsation, does not converge.

    Examples
    --------
    See README.md.
    """
    stopping.check()
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    pressure = case.surroundings.pressure
    speed = bulk_speed(case.main_pipe, gas, pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    mouth = Mouth.of(case, gas, speed, wall)

    balance = heat_balance(case, gas, air, speed, nodes=nodes, position=position)
    state = heard(case, gas, mouth, solve_steady(balance, wall))
    driven = np.flatnonzero(case.main_pipe.incident_pressure > 0)
    if len(driven):
        state = _with_pulsation(balance, mouth, state, driven)
    profile, duct = state.profile, state.duct
    found, quality = resonance.resonances(duct, modes)

    hot = case.main_pipe.gas_temperature
    return Answer(
        case=case,
        profile=profile,
        sound_speed=gas.sound_speed(profile.gas),
        duct=duct,
        main_impedance=mouth.main_impedance,
        main_speed=speed,
        main_sound_speed=mouth.main_sound_speed,
        resonance=found,
        quality_factor=quality[:, 0],
        transit_time=resonance.transit_time_estimate(duct),
        one_temperature=resonance.one_temperature_estimate(case.branch.length, hot),
        effective_temperature=resonance.effective_temperature(duct, gas, pressure, found[:, 0]),
        mouth_correction=mouth.correction,
        length=case.branch.length,
        dew_point=dew_point(case.gas, pressure),
    )


@dataclass(frozen=True)
class Mouth(Batched):
    """What the branch meets at the main pipe."""

    speed: FloatArray
    wall: FloatArray
    correction: FloatArray
    inertance: FloatArray
    main_impedance: FloatArray
    main_sound_speed: FloatArray

    @classmethod
    def of(cls, case: Case, gas: MixtureTable, speed: FloatArray, wall: FloatArray) -> Mouth:
        """From the bulk speed, m/s, and the wall temperature, K, of the main pipe."""
        hot = case.main_pipe.gas_temperature[:, None]
        density = gas.density(hot, case.surroundings.pressure)[:, 0]
        sound_speed = gas.sound_speed(hot)[:, 0]
        closures = case.closures
        correction = mouth_length(
            closures.mouth_model,
            case.branch.bore,
            case.main_pipe.bore,
            closures.mouth_factor,
            closures.fixed_mouth_length,
        )
        return cls(
            speed=speed,
            wall=wall,
            correction=correction,
            inertance=density * correction / case.branch.bore_area,
            main_impedance=density * sound_speed / case.main_pipe.bore_area,
            main_sound_speed=sound_speed,
        )


@dataclass(frozen=True)
class State(Batched):
    """Temperatures, and the duct that they make."""

    profile: TemperatureProfile
    duct: Duct


def heard(
    case: Case,
    gas: MixtureTable,
    mouth: Mouth,
    profile: TemperatureProfile,
    cells: int = cutting.CELLS,
) -> State:
    """The duct that temperatures make of a branch."""
    duct = cutting.duct(
        profile.position,
        profile.gas,
        gas,
        case.surroundings.pressure,
        radius=case.branch.bore / 2,
        inertance_ratio=inertance_ratio_between(case.branch, profile.position),
        mouth_inertance=mouth.inertance,
        wall_losses=case.closures.wall_losses,
        cells=cells,
    )
    return State(profile, duct)


def _with_pulsation(
    balance: HeatBalance, mouth: Mouth, state: State, open_: NDArray[np.intp]
) -> State:
    """Repeat heat and sound until the mixing by pulsation belongs to the sound it makes.

    Only the designs ``open_`` pulsate, and each is repeated until it agrees. The tone is held at
    the first resonance, where pulsation is strongest.
    """
    rest = np.setdiff1d(np.arange(len(mouth)), open_)
    met = [(rest, state.take(rest))]
    still, mouth, before = balance.take(open_), mouth.take(open_), state.take(open_)
    frequency, change = _tone(before.duct), np.empty(0)
    for _ in range(MOST_PASSES):
        stopping.check()
        duct, position = before.duct, before.profile.position
        swing = displacement(still.case, mouth.main_impedance, duct, position, frequency)
        try:
            profile = solve_steady(pulsating(still, swing, frequency), mouth.wall, before.profile)
        except NotConvergedError as error:
            raise error.among(open_) from error
        after = heard(still.case, still.gas, mouth, profile)
        tone = _tone(after.duct)
        change = np.abs(tone / frequency - 1)
        agrees, differs = change < PULSATION_TOLERANCE, change >= PULSATION_TOLERANCE
        if np.any(agrees):
            met.append((open_[agrees], after.take(agrees)))
            open_, still, mouth = open_[differs], still.take(differs), mouth.take(differs)
            after, tone = after.take(differs), tone[differs]
        before, frequency = after, tone
        if len(open_) == 0:
            order = np.argsort(np.concatenate([index for index, _ in met]))
            return State.concatenate([part for _, part in met]).take(order)
    raise NotConvergedError(
        "Heat loss and mixing by pulsation did not agree.",
        designs=tuple(int(i) for i in open_),
        residual=float(change.max()),
        iterations=MOST_PASSES,
    )


def _tone(duct: Duct) -> FloatArray:
    """First resonance, or its estimate where losses leave none, (designs,), Hz."""
    first = resonance.resonances(duct, 1)[0][:, 0]
    return np.where(np.isnan(first), resonance.transit_time_estimate(duct), first)


def displacement(
    case: Case,
    main_impedance: FloatArray,
    duct: Duct,
    position: FloatArray,
    frequency: FloatArray,
) -> FloatArray:
    """Amplitude of the gas's displacement at (designs, nodes) positions, m."""
    impedance = acoustics.input_impedance(duct, frequency[:, None])[:, 0]
    velocity = 2 * case.main_pipe.incident_pressure
    velocity = velocity / np.abs(2 * impedance + main_impedance)
    _, relative = acoustics.standing_wave(duct, frequency)
    cells = duct.cell_length
    edges = np.concatenate([np.zeros((len(case), 1)), np.cumsum(cells, axis=1)], axis=1)
    swing = np.empty_like(position)
    for i, x in enumerate(position):
        swing[i] = np.interp(x, edges[i], np.abs(relative[i]))
    return (velocity / (2 * np.pi * frequency * case.branch.bore_area))[:, None] * swing
