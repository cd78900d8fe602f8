"""The whole flow on one page: case → temperatures → acoustics → answer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch import acoustics, resonance
from warmbranch.acoustics import Duct
from warmbranch.batch import Batched, FloatArray
from warmbranch.case import Case
from warmbranch.cautions import Finding, findings
from warmbranch.errors import NotConvergedError
from warmbranch.gas import MixtureTable, dry_air_table
from warmbranch.geometry import inertance_ratio_between
from warmbranch.grid import DEFAULT_NODES
from warmbranch.main_pipe import bulk_speed, wall_temperature
from warmbranch.mouth import mouth_length
from warmbranch.saturation import dew_point
from warmbranch.temperature import TemperatureProfile, heat_balance, solve_steady

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
    resonance : (designs, 3) array, Hz
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


def solve(case: Case, *, nodes: int = DEFAULT_NODES) -> Answer:
    """Predict a batch of branches.

    Parameters
    ----------
    case : Case
        SI units, kelvin.
    nodes : int
        Of the grid along the branch; ``nodes − 1`` a multiple of ``acoustics.CELLS``.

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
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    pressure = case.surroundings.pressure
    speed = bulk_speed(case.main_pipe, gas, pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)

    balance = heat_balance(case, gas, air, speed, nodes=nodes)
    profile = solve_steady(balance, wall)
    mouth = _Mouth.of(case, gas)
    duct = _duct(case, gas, profile, mouth)
    found, quality = resonance.resonances(duct)
    if np.any(case.main_pipe.incident_pressure > 0):
        profile, duct, found, quality = _with_pulsation(
            case, gas, air, speed, wall, mouth, profile, duct, found, nodes
        )

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
class _Mouth(Batched):
    """What the branch meets at the main pipe."""

    correction: FloatArray
    inertance: FloatArray
    main_impedance: FloatArray
    main_sound_speed: FloatArray

    @classmethod
    def of(cls, case: Case, gas: MixtureTable) -> _Mouth:
        hot = case.main_pipe.gas_temperature[:, None]
        density = gas.density(hot, case.surroundings.pressure)[:, 0]
        speed = gas.sound_speed(hot)[:, 0]
        closures = case.closures
        correction = mouth_length(
            closures.mouth_model,
            case.branch.bore,
            case.main_pipe.bore,
            closures.mouth_factor,
            closures.fixed_mouth_length,
        )
        return cls(
            correction=correction,
            inertance=density * correction / case.branch.bore_area,
            main_impedance=density * speed / case.main_pipe.bore_area,
            main_sound_speed=speed,
        )


def _duct(case: Case, gas: MixtureTable, profile: TemperatureProfile, mouth: _Mouth) -> Duct:
    return acoustics.duct(
        profile.position,
        profile.gas,
        gas,
        case.surroundings.pressure,
        radius=case.branch.bore / 2,
        inertance_ratio=inertance_ratio_between(case.branch, profile.position),
        mouth_inertance=mouth.inertance,
        wall_losses=case.closures.wall_losses,
    )


def _with_pulsation(
    case: Case,
    gas: MixtureTable,
    air: MixtureTable,
    speed: FloatArray,
    wall: FloatArray,
    mouth: _Mouth,
    profile: TemperatureProfile,
    duct: Duct,
    found: FloatArray,
    nodes: int,
) -> tuple[TemperatureProfile, Duct, FloatArray, FloatArray]:
    """Repeat heat and sound until the mixing by pulsation belongs to the sound it makes.

    The tone is held at the first resonance, where pulsation is strongest.
    """
    change = np.inf
    for _ in range(MOST_PASSES):
        frequency = np.where(np.isnan(found[:, 0]), 1 / (4 * duct.transit_time), found[:, 0])
        impedance = acoustics.input_impedance(duct, frequency[:, None])[:, 0]
        drive = 2 * case.main_pipe.incident_pressure
        velocity = drive / np.abs(2 * impedance + mouth.main_impedance)
        _, relative = acoustics.standing_wave(duct, frequency)
        edges = np.cumsum(np.hstack([np.zeros((len(case), 1)), duct.cell_length]), axis=1)
        swing = np.stack(
            [
                np.interp(x, e, np.abs(u))
                for x, e, u in zip(profile.position, edges, relative, strict=True)
            ]
        )
        per_velocity = velocity / (2 * np.pi * frequency * case.branch.bore_area)
        balance = heat_balance(
            case,
            gas,
            air,
            speed,
            displacement=per_velocity[:, None] * swing,
            frequency=frequency,
            nodes=nodes,
        )
        profile = solve_steady(balance, wall, guess=profile)
        duct = _duct(case, gas, profile, mouth)
        last = frequency
        found, quality = resonance.resonances(duct)
        change = float(np.nanmax(np.abs(found[:, 0] / last - 1), initial=0.0))
        if change < PULSATION_TOLERANCE:
            return profile, duct, found, quality
    raise NotConvergedError(
        "Heat loss and mixing by pulsation did not agree.",
        designs=tuple(range(len(case))),
        residual=change,
        iterations=MOST_PASSES,
    )
