"""What is given to the time loop: stores of heat, and the curves piece by piece.

Plain functions of numbers; the same in C: core/warm_moment.c.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import Batched, BoolArray, FloatArray

WRAP_DENSITY = 500.0
"""kg/m³ as fitted: between a loose blanket (100) and tape wound tight (900). Our assumption."""

WRAP_HEAT_CAPACITY = 800.0
"""J/(kg K), of glass and basalt fibre near room temperature, from memory."""


@dataclass(frozen=True)
class WrapHeat(Batched):
    """What a wrap stores.

    Parameters
    ----------
    density : (designs,) array, kg/m³
        As fitted, air between the fibres included.
    heat_capacity : (designs,) array, J/(kg K)
    """

    density: FloatArray
    heat_capacity: FloatArray

    @classmethod
    def default(cls) -> WrapHeat:
        """``WRAP_DENSITY`` and ``WRAP_HEAT_CAPACITY``, one design."""
        return cls(np.array([WRAP_DENSITY]), np.array([WRAP_HEAT_CAPACITY]))


class Store(NamedTuple):
    """What stores heat; every array (designs, nodes) unless said otherwise.

    ``metal`` kg; ``wrap_wall`` and ``wrap_skin`` J/K, the wrap's halves at wall and skin;
    ``capacity`` (designs, 3), the quadratic of the metal's heat capacity, J/(kg K);
    ``main_metal`` (designs,), the main pipe's metal over its outer surface, kg/m²;
    ``main_capacity`` (designs, 3); ``main_held`` (designs,), whether its wall keeps its
    temperature; ``fall``, the shape in which the gas is first guessed to follow a jump at the
    mouth; ``resists`` (designs,), whether the mouth resists heat, so that the gas just inside has
    a temperature of its own.
    """

    metal: FloatArray
    wrap_wall: FloatArray
    wrap_skin: FloatArray
    capacity: FloatArray
    main_metal: FloatArray
    main_capacity: FloatArray
    main_held: BoolArray
    fall: FloatArray
    resists: BoolArray


class Forcing(NamedTuple):
    """Straight pieces of the curves between ``breaks`` (pieces + 1,), s.

    ``*_start`` and ``*_slope`` (designs, pieces): mouth gas temperature K, mass flow kg/s, air
    speed m/s. To the gas, ``lag_amount exp(−lag_rate t)`` is added, both (designs, lags).
    ``jumps`` (pieces,): whether anything jumps where a piece begins.
    """

    breaks: FloatArray
    jumps: BoolArray
    gas_start: FloatArray
    gas_slope: FloatArray
    flow_start: FloatArray
    flow_slope: FloatArray
    air_start: FloatArray
    air_slope: FloatArray
    lag_amount: FloatArray
    lag_rate: FloatArray


def gas_at(forcing: Forcing, i: int, piece: int, time: float) -> float:
    """Gas temperature at the mouth of design ``i``, K."""
    value = forcing.gas_start[i, piece]
    value += forcing.gas_slope[i, piece] * (time - forcing.breaks[piece])
    for k in range(forcing.lag_rate.shape[1]):
        value += forcing.lag_amount[i, k] * np.exp(-forcing.lag_rate[i, k] * time)
    return value


def main_gas(forcing: Forcing, times: FloatArray) -> FloatArray:
    """Gas temperature of the main pipe, (designs, times), K; at a jump that before it."""
    piece = np.maximum(np.searchsorted(forcing.breaks, times) - 1, 0)
    since = times - forcing.breaks[piece]
    value = forcing.gas_start[:, piece] + forcing.gas_slope[:, piece] * since
    fading = np.exp(-forcing.lag_rate[:, :, None] * times)
    return value + np.sum(forcing.lag_amount[:, :, None] * fading, axis=1)


def flow_at(forcing: Forcing, i: int, piece: int, time: float) -> float:
    """Mass flow in the main pipe, kg/s."""
    since = time - forcing.breaks[piece]
    return forcing.flow_start[i, piece] + forcing.flow_slope[i, piece] * since


def air_at(forcing: Forcing, i: int, piece: int, time: float) -> float:
    """Air speed across the branch, m/s."""
    since = time - forcing.breaks[piece]
    return forcing.air_start[i, piece] + forcing.air_slope[i, piece] * since


def stored_heat(capacity: FloatArray, temperature: float) -> float:
    """Heat in a kilogram of metal above 0 K by the quadratic of its heat capacity, J/kg."""
    return temperature * (
        capacity[0] + temperature * (capacity[1] / 2 + temperature * capacity[2] / 3)
    )


def heat_capacity(capacity: FloatArray, temperature: float) -> float:
    """Heat capacity of the metal, J/(kg K)."""
    return capacity[0] + temperature * (capacity[1] + temperature * capacity[2])


def wall_heat(store: Store, i: int, n: int, temperature: float) -> float:
    """Heat stored at the wall of node ``n``, J."""
    metal = store.metal[i, n] * stored_heat(store.capacity[i], temperature)
    return metal + store.wrap_wall[i, n] * temperature


def wall_capacity(store: Store, i: int, n: int, temperature: float) -> float:
    """Slope of :func:`wall_heat`, J/K."""
    return store.metal[i, n] * heat_capacity(store.capacity[i], temperature) + store.wrap_wall[i, n]
