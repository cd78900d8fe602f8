"""What the model says of a batch of branches."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.case.case import Case
from warmbranch.gas.gas import MixtureTable
from warmbranch.gas.saturation import dew_point
from warmbranch.heat.temperature import TemperatureProfile
from warmbranch.sound import acoustics, resonance
from warmbranch.sound.acoustics import Duct

BEYOND_THE_GAS = 1.01
"""Effective temperatures that lie farther outside the gas's, as a ratio, are none: heat capacities
and losses that change with temperature move it by 0.0003 outside, seen in 5,000 corners."""


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
        """The one temperature that gives the first resonance, (designs,), K; see resonance.py.

        NaN also where none between the coldest and the hottest gas does: where the mouth's gas
        outweighs the branch's, which then is a mere spring, whose stiffness hardly asks how warm
        it is, or where losses nearly drown the tone.
        """
        gas, pressure = MixtureTable.of(self.case.gas), self.case.surroundings.pressure
        found = resonance.effective_temperature(self.duct, gas, pressure, self.resonance[:, 0])
        coldest = self.profile.gas.min(axis=1) / BEYOND_THE_GAS
        hottest = self.profile.gas.max(axis=1) * BEYOND_THE_GAS
        return np.where((found >= coldest) & (found <= hottest), found, np.nan)

    @cached_property
    def dew_point(self) -> FloatArray:
        """Of the gas, (designs,), K; NaN where it is dry."""
        return dew_point(self.case.gas, self.case.surroundings.pressure)

    def transmission_loss(self, frequencies: FloatArray) -> FloatArray:
        """Transmission loss on the main pipe, dB, at (designs, n) frequencies, Hz."""
        impedance = acoustics.input_impedance(self.duct, frequencies)
        return acoustics.transmission_loss(impedance, self.main_impedance[:, None])
