"""What is around the branch beyond still air: places in plain words, a rear in other air, a hot
neighbour, a shield."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from warmbranch.base.constants import ICE_POINT
from warmbranch.case.surfaces import SURFACES
from warmbranch_service.contract.fields import Quantity, RequestModel
from warmbranch_service.contract.units import LENGTH, PURE_NUMBER, SPEED, TEMPERATURE

UNHEATED_AIR_DEGC = 20.0
"""Air temperature where nothing is said of it: that which a place warms, and an engine draws."""

SHIELD_SURFACE = "aluminised steel"
SHELTER = 0.2
"""Air speed behind a shield over that before it. Our judgement, no source: a shield that is open
at its ends and a finger's breadth away."""

AIR_SPEED = Quantity("m/s", SPEED, low=0, high=60)
AIR_TEMPERATURE = Quantity("degC", TEMPERATURE, low=-40, high=60)

AirSpeed = Annotated[float, AIR_SPEED]
HottestNeighbour = Quantity("degC", TEMPERATURE, low=-40, high=900)


@dataclass(frozen=True)
class UsualSurroundings:
    """What a branch usually has around it, where nobody measured.

    Parameters
    ----------
    air_speed : float, m/s
    speed_factor : float
        Up and down from it, 95 %.
    warmer : float, K
        Air, over the ``UNHEATED_AIR_DEGC`` that stand for the weather.
    air_spread : float, K
        Standard deviation of the air's temperature.
    faced : float, K
        What the branch radiates to, over that air.
    faced_spread : float, K
        Its standard deviation.
    """

    air_speed: float
    speed_factor: float
    warmer: float
    air_spread: float
    faced: float
    faced_spread: float

    @property
    def air_temperature_degC(self) -> float:
        """Of the air around the branch."""
        return UNHEATED_AIR_DEGC + self.warmer

    def told(self) -> str:
        """The numbers, as a sentence's end."""
        return (
            f"air of {self.air_temperature_degC:g} °C ± {self.air_spread:g} K, moving at "
            f"{self.air_speed:g} m/s, 95 % within a factor of {self.speed_factor:g}; what it "
            f"faces {self.faced:g} K warmer ± {self.faced_spread:g} K"
        )


PLACES = {
    "on a bench": UsualSurroundings(0.3, 3.0, 0.0, 3.0, 0.0, 5.0),
    "under a standing car": UsualSurroundings(0.5, 3.0, 15.0, 10.0, 10.0, 10.0),
    "under a moving car": UsualSurroundings(5.0, 2.5, 5.0, 5.0, 5.0, 10.0),
    "under a moving car, sheltered": UsualSurroundings(1.5, 3.0, 15.0, 10.0, 15.0, 15.0),
    "in a tunnel beside the exhaust": UsualSurroundings(2.0, 3.0, 25.0, 12.0, 40.0, 25.0),
    "in an engine room": UsualSurroundings(1.0, 3.0, 20.0, 10.0, 10.0, 10.0),
}
"""Common practice, no source: our judgement of what is usual. ± is one standard deviation."""

PLACE_TEXT = (
    "Where the branch is, where its air was not measured; it stands for air_temperature_degC, "
    "air_speed_m_s and radiant_temperature_degC as far as they are left out, with the spreads that "
    "the interval takes. Common practice, no source. "
    + " ".join(f"{name}: {place.told()}." for name, place in PLACES.items())
    + " Default null."
)


class Rear(RequestModel):
    """What is around the branch from a place on to its cap."""

    from_mm: Annotated[float, Quantity("mm", LENGTH, low=0, high=6000)] = Field(
        description="From the mouth along the centre-line, where the rear begins; behind the cap "
        "there is none.",
        examples=[500],
    )
    air_speed_m_s: AirSpeed = Field(
        default=0.0, description="Air across the rear. Default 0, sheltered.", examples=[0]
    )
    air_temperature_degC: Annotated[
        float | None, Quantity("degC", TEMPERATURE, low=-40, high=60, nullable=True)
    ] = Field(
        default=None,
        description="Air near the rear. Default null: that of the front.",
        examples=[35],
    )
    radiant_temperature_degC: Annotated[
        float | None, Quantity("degC", TEMPERATURE, low=-40, high=400, nullable=True)
    ] = Field(
        default=None,
        description="Temperature of what the rear radiates to. Default null: as far above the "
        "rear's air as that of the front is above its own.",
        examples=[40],
    )


class HotNeighbour(RequestModel):
    """Something hot beside the branch that takes a part of its view, taken as black."""

    temperature_degC: Annotated[float, HottestNeighbour] = Field(
        description="Of its surface.", examples=[250]
    )
    view_share: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1)] = Field(
        description="Share of all that the branch's skin faces: a plate beside it as long and wide "
        "takes up to a half, a pipe of the same size, a diameter between them, 0.08.",
        examples=[0.08],
    )


class Shield(RequestModel):
    """A sheet around the branch, open at its ends, taken to be as warm as the air.

    Its main pipe is taken to stand in the same shelter.
    """

    diameter_mm: Annotated[float, Quantity("mm", LENGTH, low=15, high=600)] = Field(
        description="Inside diameter, or that of a round shield of the same girth.", examples=[80]
    )
    emissivity: Annotated[float, Quantity("1", PURE_NUMBER, low=0.02, high=1)] = Field(
        default=SURFACES[SHIELD_SURFACE].emissivity,
        description=f"Of its inside. Default {SURFACES[SHIELD_SURFACE].emissivity:g}, "
        f"{SHIELD_SURFACE}.",
        examples=[0.2],
    )
    air_speed_share: Annotated[float, Quantity("1", PURE_NUMBER, low=0, high=1)] = Field(
        default=SHELTER,
        description=f"Air speed behind it over that before it. Default {SHELTER:g}, a judgement "
        "without a source.",
        examples=[0.2],
    )


def seen(radiant: float, neighbour: HotNeighbour | None) -> float:
    """The one temperature, K, to which the skin radiates as it does to both.

    ``F T_n⁴ + (1 − F) T_r⁴``, exact for black surroundings.
    """
    if neighbour is None:
        return radiant
    hot, share = neighbour.temperature_degC + ICE_POINT, neighbour.view_share
    return (share * hot**4 + (1 - share) * radiant**4) ** 0.25


def shielded(emissivity: float, diameter_mm: float, shield: Shield | None) -> float:
    """Emissivity with which a skin radiates to a shield around it.

    Two grey coaxial cylinders: ``1/[1/ε + (d/D)(1/ε_s − 1)]`` (Incropera, table 13.3, from memory).
    """
    if shield is None or emissivity == 0:
        return emissivity
    narrower = diameter_mm / shield.diameter_mm
    return 1 / (1 / emissivity + narrower * (1 / shield.emissivity - 1))


def seen_spread(
    radiant: float, spread: float, neighbour: HotNeighbour, own: tuple[float, float]
) -> float:
    """Standard deviation of :func:`seen`, K, to first order.

    Parameters
    ----------
    radiant, spread : float, K
        Of the other surroundings.
    neighbour : HotNeighbour
    own : (float, float)
        Standard deviations of its temperature, K, and of its view share.
    """
    hot, share = neighbour.temperature_degC + ICE_POINT, neighbour.view_share
    cubed = seen(radiant, neighbour) ** 3
    parts = (
        (1 - share) * radiant**3 / cubed * spread,
        share * hot**3 / cubed * own[0],
        (hot**4 - radiant**4) / (4 * cubed) * own[1],
    )
    return math.hypot(*parts)
