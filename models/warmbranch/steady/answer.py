"""What the model says of a batch of branches."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from warmbranch.base.batch import Batched, ComplexArray, FloatArray
from warmbranch.case.case import Case
from warmbranch.gas.gas import SPECIES, MixtureTable, dry_air_table
from warmbranch.gas.moist import dried_gas
from warmbranch.gas.saturation import dew_point
from warmbranch.heat.profile import TemperatureProfile
from warmbranch.heat.vapour import WATER_MOLAR_MASS
from warmbranch.sound import acoustics, resonance
from warmbranch.sound.acoustics import Duct
from warmbranch.sound.mouth_loss import MouthLoss, mouth_loss
from warmbranch.steady.interplay import balance_of

BEYOND_THE_GAS = 1.25
"""Effective temperatures that lie farther outside the gas's, as a ratio, are none. Layers of sound
on a wall far colder than the gas are thinner than those of the one temperature, which comes to lie
outside: at most 1.2 in 20,000 corners of the box (tubes of 14 mm and 6 m), 1.065 in 20,480 designs
within it; in a pipe that somebody builds, by nothing to speak of."""


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
    length : (designs,) array, m
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
    length: FloatArray

    @cached_property
    def sound_speed(self) -> FloatArray:
        """Along the branch, (designs, nodes), m/s."""
        profile = self.profile
        gas = dried_gas(MixtureTable.of(self.case.gas), profile.gas, profile.dried)
        return np.sqrt(gas.heat_capacity_ratio * gas.gas_constant * profile.gas)

    @cached_property
    def effective_temperature(self) -> FloatArray:
        """The one temperature that gives the first resonance, (designs,), K; see resonance.py.

        NaN also where none as cold or hot as the gas does, a quarter more or less: where the
        mouth's gas outweighs the branch's, which then is a mere spring, whose stiffness hardly
        asks how warm it is, or where losses nearly drown the tone.
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

    @cached_property
    def condensing(self) -> FloatArray:
        """Water that condenses on the wall of each node's control volume, (designs, nodes), kg/s.

        The last with the cap. The core finds it with the temperatures; numpy when it is asked for.

        Valid for
        ---------
        As :func:`warmbranch.heat.vapour.in_balance`: within a factor of some 1.5.

        Check
        -----
        What enters is what condenses. tests/models/steady/test_condensate.py.
        """
        case, profile, gas = self.case, self.profile, MixtureTable.of(self.case.gas)
        sound = self.main_impedance, self.duct, self.tone
        balance = balance_of(case, gas, dry_air_table(), self.main_speed, profile, *sound)
        found = balance.condensing(profile.gas, profile.wall, dried=profile.dried)
        return np.zeros_like(profile.gas) if found is None else WATER_MOLAR_MASS * found.rate

    @cached_property
    def vapour(self) -> FloatArray:
        """Mole fraction of water that is left in the gas, (designs, nodes)."""
        whole = self.case.gas.mole_fractions[:, SPECIES.index("H2O")][:, None]
        return whole - self.profile.dried * (1 - whole)

    @cached_property
    def own_impedance(self) -> FloatArray:
        """ρ c of the main pipe's gas over the branch's section at the mouth, Pa s/m³."""
        return self.main_impedance * self.case.main_pipe.bore_area / self.case.branch.bore_area

    @cached_property
    def tone(self) -> FloatArray:
        """First resonance, the transit-time estimate where losses leave none, (designs,), Hz."""
        first = self.resonance[:, 0]
        return np.where(np.isnan(first), self.transit_time, first)

    @cached_property
    def mouth_correction(self) -> FloatArray:
        """Length of main-pipe gas that swings with the branch at its tone, (designs,), m."""
        inertance = self.duct.mouth_reactance(self.tone[:, None])[:, 0] / (2 * np.pi * self.tone)
        per_length = self.own_impedance / self.main_sound_speed
        return inertance * self.case.closures.tone / per_length

    @cached_property
    def wall_resistance(self) -> FloatArray:
        """Of the branch at the first resonance, by wall losses, over ``own_impedance``.

        At the transit-time estimate where losses leave no resonance.
        """
        impedance = acoustics.input_impedance(self.duct, self.tone[:, None])[:, 0]
        return impedance.real / self.own_impedance

    def resisting(
        self,
        flow_loss: FloatArray,
        level_loss: FloatArray,
        mach: FloatArray | None = None,
        cap_pressure: FloatArray | None = None,
    ) -> MouthLoss:
        """What would resist at the mouth by other coefficients.

        Parameters
        ----------
        flow_loss, level_loss : (designs,) or (n, designs) array
        mach, cap_pressure : array of such a shape; dimensionless, Pa, optional
            The answer's own unless given.
        """
        pipe, branch = self.case.main_pipe, self.case.branch
        return mouth_loss(
            flow_loss=flow_loss,
            level_loss=level_loss,
            mach=self.main_speed / self.main_sound_speed if mach is None else mach,
            sound_speed=self.main_sound_speed,
            characteristic=self.main_impedance * pipe.bore_area,
            cap_pressure=pipe.cap_pressure if cap_pressure is None else cap_pressure,
            incident_pressure=pipe.incident_pressure,
            area_ratio=branch.bore_area / pipe.bore_area,
            wall=self.wall_resistance,
        )

    @cached_property
    def mouth_loss(self) -> MouthLoss:
        """What resists at the mouth, (designs,), over ``own_impedance``."""
        closures = self.case.closures
        return self.resisting(closures.flow_loss, closures.level_loss)

    def impedance(self, frequencies: FloatArray) -> ComplexArray:
        """Of the branch as the main pipe meets it, at (designs, n) frequencies, Hz: Pa s/m³.

        With what resists at the mouth at the first resonance, where the tone is loudest.
        """
        resistance = self.own_impedance * self.mouth_loss.all
        return acoustics.input_impedance(self.duct, frequencies) + resistance[:, None]

    def transmission_loss(self, frequencies: FloatArray) -> FloatArray:
        """Transmission loss on the main pipe, dB, at (designs, n) frequencies, Hz."""
        return acoustics.transmission_loss(
            self.impedance(frequencies), self.main_impedance[:, None]
        )
