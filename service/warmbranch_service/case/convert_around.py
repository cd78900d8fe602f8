"""From requests to what the physics has around each branch."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.case import surroundings as physics
from warmbranch_service.case.around import PLACES, seen
from warmbranch_service.case.surroundings import Surroundings

Number = Callable[[Surroundings], float]


def around(outsides: Sequence[Surroundings]) -> physics.Surroundings:
    """What is around each branch, a batch."""

    def each(value: Number) -> FloatArray:
        return np.array([value(outside) for outside in outsides], dtype=np.float64)

    return physics.Surroundings(
        air_temperature=each(air),
        radiant_temperature=each(lambda outside: seen(faced(outside), outside.hot_neighbour)),
        pressure=each(lambda outside: outside.pressure_kPa * 1e3),
        air_speed=each(lambda outside: _sheltered(outside, outside.air_speed_m_s)),
        rear_from=each(_rear_from),
        rear_air_temperature=each(_rear_air),
        rear_radiant_temperature=each(_rear_radiant),
        rear_air_speed=each(_rear_speed),
    )


def air(outside: Surroundings) -> float:
    """Air near the branch, K."""
    return outside.air_temperature_degC + ICE_POINT


def faced(outside: Surroundings) -> float:
    """What the branch radiates to but for a hot neighbour, K."""
    if outside.radiant_temperature_degC is not None:
        return outside.radiant_temperature_degC + ICE_POINT
    return air(outside) + (0.0 if outside.place is None else PLACES[outside.place].faced)


def _sheltered(outside: Surroundings, air_speed: float) -> float:
    shield = outside.shield
    return air_speed if shield is None else air_speed * shield.air_speed_share


def _rear_from(outside: Surroundings) -> float:
    return math.inf if outside.rear is None else outside.rear.from_mm * 1e-3


def _rear_air(outside: Surroundings) -> float:
    if outside.rear is None:
        return math.nan
    own = outside.rear.air_temperature_degC
    return air(outside) if own is None else own + ICE_POINT


def _rear_radiant(outside: Surroundings) -> float:
    if outside.rear is None:
        return math.nan
    own = outside.rear.radiant_temperature_degC
    if own is not None:
        return seen(own + ICE_POINT, outside.hot_neighbour)
    return seen(faced(outside) - air(outside) + _rear_air(outside), outside.hot_neighbour)


def _rear_speed(outside: Surroundings) -> float:
    rear = outside.rear
    return math.nan if rear is None else _sheltered(outside, rear.air_speed_m_s)
