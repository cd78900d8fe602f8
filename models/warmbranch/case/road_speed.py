"""From the road to the engine: speed, gears and tyres."""

from __future__ import annotations

ROLLING_FACTOR = 3.05
"""Rolling circumference of a radial car tyre over its overall diameter, below π as the loaded
tyre is flattened. ETRTO Standards Manual, from memory."""


def tyre_diameter(width: float, aspect_ratio: float, rim_diameter: float) -> float:
    """Overall diameter of a new tyre, m.

    Parameters
    ----------
    width : float, m
        Nominal section width.
    aspect_ratio : float, dimensionless
        Section height over width.
    rim_diameter : float, m

    Check
    -----
    By hand: 205/55 R 16: 2 × 0.55 × 205 + 16 × 25.4 = 631.9 mm.

    >>> round(tyre_diameter(0.205, 0.55, 0.4064), 4)
    0.6319
    """
    return rim_diameter + 2 * aspect_ratio * width


def rolling_circumference(diameter: float, factor: float = ROLLING_FACTOR) -> float:
    """Distance that a loaded wheel runs in one turn, m.

    Parameters
    ----------
    diameter : float, m
        Overall diameter of the tyre.
    factor : float, dimensionless
        At most π, for a wheel that is not flattened.

    Valid for
    ---------
    Car tyres at their pressure, at moderate speed; worn or soft tyres run 1 to 3 % less.
    """
    return factor * diameter


def engine_speed_on_road(
    road_speed: float, circumference: float, gear_ratio: float, final_drive: float
) -> float:
    r"""Engine speed in revolutions per second.

    .. math:: n = v\,i_{gear}\,i_{final} / U

    Parameters
    ----------
    road_speed : float, m/s
    circumference : float, m
        Rolling circumference of the driven wheels.
    gear_ratio, final_drive : float, dimensionless
        Turns in over turns out; their product counts.

    Valid for
    ---------
    No slip in clutch, converter, belt or tyre.

    Check
    -----
    By hand: 30 m/s on 1.92735 m, 0.8 × 4.0: 49.81 rev/s, 2989 rpm.

    >>> round(60 * engine_speed_on_road(30.0, 1.92735, 0.8, 4.0))
    2989
    """
    return road_speed * gear_ratio * final_drive / circumference
