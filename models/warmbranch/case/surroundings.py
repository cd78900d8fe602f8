"""What is outside the tube: air, walls in view, and what covers the metal."""

from __future__ import annotations

from dataclasses import dataclass

from warmbranch.base.batch import Batched, FloatArray


@dataclass(frozen=True)
class Surroundings(Batched):
    """Air and surfaces around the pipe.

    Parameters
    ----------
    air_temperature, radiant_temperature : (designs,) array, K
        Air near the branch; the one temperature of all that the branch radiates to.
    pressure : (designs,) array, Pa
        Ambient, also taken as the mean pressure in the pipe.
    air_speed : (designs,) array, m/s
        Across the tube.
    """

    air_temperature: FloatArray
    radiant_temperature: FloatArray
    pressure: FloatArray
    air_speed: FloatArray


@dataclass(frozen=True)
class Covering(Batched):
    """What covers the branch's metal.

    Parameters
    ----------
    emissivity : (designs,) array, dimensionless
        Total hemispherical, of the outermost surface. 0 switches radiation off.
    wrap_thickness : (designs,) array, m
        0 for a bare tube. The wrap covers the cap too.
    wrap_conductivity : (designs,) array, W/(m K)
        Of the wrap; any positive number for a bare tube.
    """

    emissivity: FloatArray
    wrap_thickness: FloatArray
    wrap_conductivity: FloatArray
