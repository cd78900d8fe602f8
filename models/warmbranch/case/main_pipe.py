"""The main pipe at the mouth, and the speed of its gas."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.base.errors import GeometryError
from warmbranch.gas.gas import MixtureTable


@dataclass(frozen=True)
class MainPipe(Batched):
    """The pipe that the branch stands on.

    Parameters
    ----------
    outside_diameter, wall_thickness : (designs,) array, m
    gas_temperature : (designs,) array, K
        Mean over the section, at the mouth.
    skin_temperature : (designs,) array, K
        At the mouth, or NaN: then from the pipe's own heat balance.
    mass_flow : (designs,) array, kg/s
    emissivity : (designs,) array, dimensionless
        Of the main pipe's outer surface; used only in its own heat balance.
    film_augmentation : (designs,) array, dimensionless
        Inner film over that of steady flow.
    incident_pressure : (designs,) array, Pa
        Amplitude of the firing tone that arrives at the mouth; 0 leaves mixing by pulsation out.
    cap_pressure : (designs,) array, Pa
        Amplitude of the tone at the cap, running, which tells how much the tone exchanges at the
        mouth; not looked at where ``incident_pressure`` tells.
    """

    outside_diameter: FloatArray
    wall_thickness: FloatArray
    gas_temperature: FloatArray
    skin_temperature: FloatArray
    mass_flow: FloatArray
    emissivity: FloatArray
    film_augmentation: FloatArray
    incident_pressure: FloatArray
    cap_pressure: FloatArray

    def __post_init__(self) -> None:
        super().__post_init__()
        without = np.flatnonzero(~(self.bore > 0))
        if len(without):
            outside = float(self.outside_diameter[without[0]])
            raise GeometryError(
                "The wall leaves the main pipe no bore.",
                field="main_pipe.wall_thickness",
                value=float(self.wall_thickness[without[0]]),
                unit="m",
                remedy=f"Give a wall between 0 and {outside / 2:g} m.",
            )

    @property
    def bore(self) -> FloatArray:
        """Inside diameter, m."""
        return self.outside_diameter - 2 * self.wall_thickness

    @property
    def bore_area(self) -> FloatArray:
        """Section open to the gas, m²."""
        return np.pi / 4 * self.bore**2


def bulk_speed(pipe: MainPipe, gas: MixtureTable, pressure: FloatArray) -> FloatArray:
    """Mean gas speed over the main pipe's section at the mouth, m/s; shape (designs,)."""
    density = gas.density(pipe.gas_temperature[:, None], pressure)[:, 0]
    return pipe.mass_flow / (density * pipe.bore_area)


def mach_number(pipe: MainPipe, gas: MixtureTable, pressure: FloatArray) -> FloatArray:
    """Bulk speed over the speed of sound there; shape (designs,).

    Beyond 1 there is no such flow: a pipe of even bore chokes at its end (Shapiro, The Dynamics and
    Thermodynamics of Compressible Fluid Flow, 1953, ch. 6; from memory).
    """
    sound_speed = gas.sound_speed(pipe.gas_temperature[:, None])[:, 0]
    return bulk_speed(pipe, gas, pressure) / sound_speed
