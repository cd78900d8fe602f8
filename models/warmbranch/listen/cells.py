"""Levels of orders gathered into cells: one order, one narrow range of engine speed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import BoolArray, IntArray, RealArray
from warmbranch.listen.orders import OrderLevels

WIDTH = 0.02
"""Of the logarithm of the speed."""

LEAST_OVER_NOISE = 2.0
"""Power of an order, had it no notch, over the noise in its band, from which on it tells."""

NEIGHBOURHOOD = 0.25
"""Of the logarithm of the speed about a cell, where its order's level without a notch is sought."""

HIGHEST = 450.0
"""Hz. Orders above tell of a cabin's thousand modes."""

LEAST_SD = 0.7
"""dB. What a level in a room scatters even without noise: practice, no source."""


@dataclass(frozen=True)
class Cells:
    """Levels of orders.

    Parameters
    ----------
    order : (cells,) array of int
        Index of the order.
    log_speed, log_frequency : (cells,) arrays
        Natural logarithms of revolutions per second and Hz.
    level : (cells,) array, dB
        Of the order and the noise in its band.
    deviation : (cells,) array, dB
    noise_share : (cells,) array
        Noise in the band over the order's power, had it no notch.
    """

    order: IntArray
    log_speed: RealArray
    log_frequency: RealArray
    level: RealArray
    deviation: RealArray
    noise_share: RealArray

    def __len__(self) -> int:
        return len(self.level)

    def where(self, chosen: BoolArray | IntArray) -> Cells:
        """Some of them, or all in another order."""
        return Cells(
            *(
                getattr(self, name)[chosen]
                for name in (
                    "order",
                    "log_speed",
                    "log_frequency",
                    "level",
                    "deviation",
                    "noise_share",
                )
            )
        )


def gathered(
    levels: OrderLevels,
    log_speed: RealArray,
    held: BoolArray,
    orders: RealArray,
    gain: RealArray,
) -> Cells:
    """Cells of a recording.

    Parameters
    ----------
    levels : OrderLevels
    log_speed : (frames,) array
    held : (frames,) array of bool
        Moments that count.
    orders : (orders,) array
    gain : (frames,) array, dB
        Of the recorder, known from a pilot tone; taken off.
    """
    frames = np.flatnonzero(held)
    bins = np.floor(log_speed[frames] / WIDTH).astype(np.int64)
    scale = 10 ** (-gain[frames] / 10)
    values, place = np.unique(bins, return_inverse=True)
    counts = np.bincount(place)
    powers = means_at(levels.power[:, frames] * scale, place, counts)
    noises = means_at(levels.noise[:, frames] * scale, place, counts)
    clean = np.maximum(powers - noises, 0.1 * noises)
    middle = (values + 0.5) * WIDTH
    first = np.searchsorted(middle, middle - NEIGHBOURHOOD)
    last = np.searchsorted(middle, middle + NEIGHBOURHOOD, side="right")
    usual = np.transpose(
        [np.quantile(clean[:, a:b], 0.75, axis=1) for a, b in zip(first, last, strict=True)]
    )
    shares = noises / (usual + 1e-300)
    parts: list[tuple[RealArray, ...]] = []
    for index, (order, power, noise, share) in enumerate(
        zip(orders, powers, noises, shares, strict=True)
    ):
        frequency = np.log(order) + middle
        tells = (share < 1 / LEAST_OVER_NOISE) & (frequency < np.log(HIGHEST)) & (power > 0)
        # Two-dimensional interference of a tone with noise; moments are half independent.
        scatter = (
            4.34
            * np.sqrt(2 * np.minimum(noise / np.maximum(power, noise), 1))
            / np.sqrt(np.maximum(counts / 2, 1))
        )
        parts.append(
            (
                np.full(len(middle), index, dtype=np.float64)[tells],
                middle[tells],
                frequency[tells],
                10 * np.log10(power[tells]),
                np.hypot(scatter, LEAST_SD)[tells],
                share[tells],
            )
        )
    joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
    return Cells(joined[0].astype(np.int64), *joined[1:])


def means_at(values: RealArray, place: IntArray, counts: IntArray) -> RealArray:
    """Means of (rows, moments) over the moments at each place, (rows, places)."""
    return np.array([np.bincount(place, row) for row in values]) / counts


def thinned(cells: Cells, most: int) -> Cells:
    """At most so many, the higher frequencies thinned first: there many orders tell the same."""
    if len(cells) <= most:
        return cells
    rising = np.argsort(cells.log_frequency, kind="stable")
    # Evenly over the logarithm of the frequency as far as there are cells.
    width = 0.05
    bins = np.floor(cells.log_frequency[rising] / width).astype(np.int64)
    rank = np.empty(len(rising), np.int64)
    for value in np.unique(bins):
        inside = np.flatnonzero(bins == value)
        # Spread each bin's ranks over its cells, so that what stays is spread too.
        rank[inside] = np.argsort(np.argsort((np.arange(len(inside)) * 0.618034) % 1))
    keep = np.zeros(len(cells), np.bool_)
    keep[rising[np.argsort(rank, kind="stable")[:most]]] = True
    return cells.where(keep)
