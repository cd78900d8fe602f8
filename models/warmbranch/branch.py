"""The whole flow on one page: case → temperatures → acoustics → answer."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from warmbranch import acoustics, core, quick, resonance, stopping
from warmbranch.acoustics import Duct
from warmbranch.batch import Batched, BoolArray, FloatArray
from warmbranch.case import Case
from warmbranch.cautions import Finding, findings
from warmbranch.errors import NotConvergedError
from warmbranch.gas import MixtureTable, dry_air_table
from warmbranch.grid import DEFAULT_NODES
from warmbranch.interplay import Mouth, heard, settled
from warmbranch.main_pipe import bulk_speed, wall_temperature
from warmbranch.resonance import MODES
from warmbranch.saturation import dew_point
from warmbranch.sketch import laid_out
from warmbranch.temperature import TemperatureProfile


@dataclass(frozen=True)
class Answer(Batched):
    """What the model says of a batch of branches; every array has the design leading.

    Parameters
    ----------
    case : Case
    profile : TemperatureProfile
    duct : Duct
        The branch as the acoustics sees it.
    main_impedance : (designs,) array, Pa s/m³
        ρ c / S of the main pipe.
    main_speed, main_sound_speed : (designs,) array, m/s
    resonance : (designs, modes) array, Hz
        NaN where losses leave none.
    quality_factor : (designs,) array
    transit_time, one_temperature : (designs,) array, Hz
    mouth_correction, length : (designs,) array, m
    """

    case: Case
    profile: TemperatureProfile
    duct: Duct
    main_impedance: FloatArray
    main_speed: FloatArray
    main_sound_speed: FloatArray
    resonance: FloatArray
    quality_factor: FloatArray
    transit_time: FloatArray
    one_temperature: FloatArray
    mouth_correction: FloatArray
    length: FloatArray

    @cached_property
    def sound_speed(self) -> FloatArray:
        """Along the branch, (designs, nodes), m/s."""
        return MixtureTable.of(self.case.gas).sound_speed(self.profile.gas)

    @cached_property
    def effective_temperature(self) -> FloatArray:
        """The one temperature that gives the first resonance, (designs,), K; see resonance.py."""
        gas, pressure = MixtureTable.of(self.case.gas), self.case.surroundings.pressure
        return resonance.effective_temperature(self.duct, gas, pressure, self.resonance[:, 0])

    @cached_property
    def dew_point(self) -> FloatArray:
        """Of the gas, (designs,), K; NaN where it is dry."""
        return dew_point(self.case.gas, self.case.surroundings.pressure)

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
        Nodes to solve on, from 0 to the length, in place of those that the model chooses.

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
    compiled = core.at_hand()
    if compiled is None:
        return _step_by_step(case, nodes, modes, position)
    parts, failed = quick.solve(compiled, case, nodes=nodes, modes=modes, position=position)
    if not np.any(failed):
        return Answer.of_parts(**parts)
    return _joined(case, parts, failed, nodes, modes, position)


def _joined(
    case: Case,
    parts: dict[str, Any],
    failed: BoolArray,
    nodes: int,
    modes: int,
    position: FloatArray | None,
) -> Answer:
    """The core's answers and, for what it could not balance, those found on finer grids."""
    hard = np.flatnonzero(failed)
    rest = None if position is None else position[hard]
    try:
        found = _step_by_step(case.take(hard), nodes, modes, rest)
    except NotConvergedError as error:
        raise error.among(hard) from error
    well = np.flatnonzero(~failed)
    if len(well) == 0:
        return found
    both = Answer.concatenate([Answer.of_parts(**parts).take(well), found])
    return both.take(np.argsort(np.concatenate([well, hard])))


def _step_by_step(
    case: Case, nodes: int, modes: int, position: FloatArray | None
) -> Answer:
    """The same flow in the open, one part after another, as the core goes it at once."""
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    pressure = case.surroundings.pressure
    speed = bulk_speed(case.main_pipe, gas, pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    mouth = Mouth.of(case, gas, speed, wall)

    balance, guess = laid_out(case, gas, air, mouth, nodes=nodes, position=position)
    profile = settled(balance, mouth, guess)
    duct = heard(case, gas, mouth, profile).duct
    found, quality = resonance.resonances(duct, modes)

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
        mouth_correction=mouth.correction,
        length=case.branch.length,
    )
