"""Levels of the orders by the Vold-Kalman filter of the second generation.

Vold and Leuridan, SAE 931288 (1993); Tuma, Vold-Kalman order tracking filtration (2005): an
order's complex envelope is the smooth curve next to the sound shifted to zero frequency. Orders
of one shaft do not cross, so each is filtered by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solveh_banded

from warmbranch.base.batch import RealArray
from warmbranch.listen.fine import SLOW_RATE, Shifted
from warmbranch.listen.spectra import HOP
from warmbranch.listen.speed import CoarseTrack

HALF_WIDTH = 2.0
"""Hz from the middle of the filter to its -3 dB point: a third of the distance of half orders at
idle, and wide enough for a level that changes within a tenth of a second."""


@dataclass(frozen=True)
class OrderLevels:
    """Powers of the orders at the moments of a track.

    Parameters
    ----------
    power : (orders, frames) array
        Mean square of each order, that of the noise in its band included.
    noise : (orders, frames) array
        Mean square of noise in that band.
    """

    power: RealArray
    noise: RealArray


def _weight() -> float:
    """Structural weight squared for the -3 dB point, two-pole filter. Tuma 2005, eq. 22."""
    turn = 2 * np.pi * HALF_WIDTH / SLOW_RATE
    return (np.sqrt(2) - 1) / (2 - 2 * np.cos(turn)) ** 2


def _noise_bandwidth() -> float:
    """Integral of the filter's |H|² over frequencies of both signs, Hz."""
    frequency = np.linspace(-SLOW_RATE / 2, SLOW_RATE / 2, 20001)
    ratio = 1 / (1 + _weight() * (2 - 2 * np.cos(2 * np.pi * frequency / SLOW_RATE)) ** 2)
    return float(np.trapezoid(ratio**2, frequency))


def order_levels(shifted: Shifted, orders: RealArray, track: CoarseTrack) -> OrderLevels:
    """Powers of orders about each moment of a track.

    Parameters
    ----------
    shifted : Shifted
        By the final speed.
    orders : (orders,) array, 1/revolution
    track : CoarseTrack
    """
    count = len(shifted.time)
    stiff = _weight()
    bands = np.zeros((3, count))
    for offset, pairs in enumerate((((0, 1), (1, 4), (2, 1)), ((0, -2), (1, -2)), ((0, 1),))):
        for first, value in pairs:
            bands[2 - offset, first + offset : count - 2 + first + offset] += stiff * value
    bands[2] += 1
    right = np.concatenate([shifted.values.real, shifted.values.imag]).T.astype(np.float64)
    smooth = solveh_banded(bands, right)
    square = np.square(smooth).reshape(count, 2, -1).sum(axis=1).T / 2
    per = round(HOP * SLOW_RATE)
    centres = np.rint(track.time * SLOW_RATE).astype(int)
    every = np.clip(centres[:, None] + np.arange(-(per // 2), per - per // 2), 0, count - 1)
    power = square[:, every].mean(axis=2)
    speed = np.exp(track.log_speed)
    width = _noise_bandwidth()
    # A real noise of density N, shifted and doubled, has 2 N a hertz; its mean square is half.
    noise = np.array([track.noise_density(order * speed) * width for order in orders])
    return OrderLevels(power, noise)
