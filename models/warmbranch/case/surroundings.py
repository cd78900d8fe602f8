"""What is outside the tube: air, walls in view, and what covers the metal."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from warmbranch.base.batch import Batched, FloatArray


@dataclass(frozen=True)
class Surroundings(Batched):
    """Air and surfaces around the pipe, the same all along the branch or other behind a place.

    Parameters
    ----------
    air_temperature, radiant_temperature : (designs,) array, K
        Air near the branch; the one temperature of all that the branch radiates to.
    pressure : (designs,) array, Pa
        Ambient, also taken as the mean pressure in the pipe.
    air_speed : (designs,) array, m/s
        Across the tube.
    rear_from : (designs,) array, m
        From the mouth: where the rear begins. Infinite where all is front, in which case the next
        three are not looked at. The main pipe stands in the front.
    rear_air_temperature, rear_radiant_temperature : (designs,) array, K
    rear_air_speed : (designs,) array, m/s
    """

    air_temperature: FloatArray
    radiant_temperature: FloatArray
    pressure: FloatArray
    air_speed: FloatArray
    rear_from: FloatArray = field(default_factory=lambda: np.full(1, np.inf))
    rear_air_temperature: FloatArray = field(default_factory=lambda: np.full(1, np.nan))
    rear_radiant_temperature: FloatArray = field(default_factory=lambda: np.full(1, np.nan))
    rear_air_speed: FloatArray = field(default_factory=lambda: np.full(1, np.nan))

    @property
    def rear(self) -> Surroundings:
        """What is around the rear, as if all along; that of the front where there is none."""

        def of(name: str) -> FloatArray:
            own: FloatArray = getattr(self, f"rear_{name}")
            return np.where(np.isfinite(self.rear_from), own, getattr(self, name))

        return self.changed(
            air_temperature=of("air_temperature"),
            radiant_temperature=of("radiant_temperature"),
            air_speed=of("air_speed"),
        )


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
