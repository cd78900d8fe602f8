"""Loudness against engine speed: what drones, and what a branch changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import BoolArray, IntArray, RealArray
from warmbranch.listen.orders import OrderLevels
from warmbranch.listen.weighting import a_weighting

BIN = 50.0 / 60
"""1/s. Width of a step of engine speed, 50 rpm."""

SCATTER = 1.0
"""dB between one pull and the next at one speed; ISO 5128 repeats until within 3 dB."""

DRAWS = 400


@dataclass(frozen=True)
class Loudness:
    """Levels of the engine's orders together, by engine speed.

    Parameters
    ----------
    revolutions_per_second : (bins,) array, 1/s
        Rising middles of ``BIN``.
    level, level_a : (bins,) arrays, dB
        Of all orders together, without and with A-weighting; the zero is the recording's own.
    moments : (bins,) array of int
        How many each rests on.
    """

    revolutions_per_second: RealArray
    level: RealArray
    level_a: RealArray
    moments: IntArray


@dataclass(frozen=True)
class Drone:
    """Where it is loudest.

    Parameters
    ----------
    revolutions_per_second : float, 1/s
    interval_50, interval_90 : tuple of float, 1/s
    at_edge : bool
        The loudest speed is the first or the last heard, so that it may be louder beyond.
    """

    revolutions_per_second: float
    interval_50: tuple[float, float]
    interval_90: tuple[float, float]
    at_edge: bool


def loudness(
    levels: list[OrderLevels],
    log_speeds: list[RealArray],
    held: list[BoolArray],
    orders: RealArray,
    gains: list[RealArray],
) -> Loudness:
    """Loudness over several recordings of one state, powers averaged at each speed."""
    plain: list[RealArray] = []
    weighted: list[RealArray] = []
    speeds: list[RealArray] = []
    for level, log_speed, moments, gain in zip(levels, log_speeds, held, gains, strict=True):
        speed = np.exp(log_speed[moments])
        clean = np.maximum(level.power[:, moments] - level.noise[:, moments], 0)
        clean = clean * 10 ** (-gain[moments] / 10)
        weight = 10 ** (a_weighting(orders[:, None] * speed) / 10)
        plain.append(clean.sum(axis=0))
        weighted.append((clean * weight).sum(axis=0))
        speeds.append(speed)
    speed = np.concatenate(speeds)
    values, place, counts = np.unique(
        np.floor(speed / BIN), return_inverse=True, return_counts=True
    )
    tiny = 1e-30
    means = [
        10 * np.log10(np.bincount(place, np.concatenate(powers)) / counts + tiny)
        for powers in (plain, weighted)
    ]
    keep = means[0] > -200
    return Loudness((values[keep] + 0.5) * BIN, means[0][keep], means[1][keep], counts[keep])


def drone(curve: Loudness, *, weighted: bool = True) -> Drone | None:
    """Loudest engine speed and how sure that is; None with fewer than five speeds heard.

    The curve is smoothed over three steps; its scatter from pull to pull is drawn again and again.
    """
    level = curve.level_a if weighted else curve.level
    if len(level) < 5:
        return None
    rng = np.random.default_rng(20)
    spread = SCATTER / np.sqrt(np.minimum(curve.moments, 4) / 4)
    drawn = (
        level + np.vstack([np.zeros(len(level)), rng.standard_normal((DRAWS, len(level)))]) * spread
    )
    padded = np.pad(10 ** (drawn / 10), ((0, 0), (1, 1)), "edge")
    smooth = 0.25 * padded[:, :-2] + 0.5 * padded[:, 1:-1] + 0.25 * padded[:, 2:]
    peaks = np.argmax(smooth, axis=1)
    # Within a step the place of the peak is not known.
    places = curve.revolutions_per_second[peaks] + BIN * rng.uniform(-0.5, 0.5, len(peaks))
    low, mid_low, mid_high, high = np.quantile(places[1:], (0.05, 0.25, 0.75, 0.95))
    return Drone(
        float(curve.revolutions_per_second[peaks[0]]),
        (float(mid_low), float(mid_high)),
        (float(low), float(high)),
        bool(peaks[0] in (0, len(level) - 1)),
    )


def change(before: Loudness, after: Loudness) -> tuple[RealArray, RealArray, RealArray]:
    """Speeds heard both times and by how many dB the engine got louder there, plain and A."""
    both, here, there = np.intersect1d(
        np.round(before.revolutions_per_second / BIN - 0.5),
        np.round(after.revolutions_per_second / BIN - 0.5),
        return_indices=True,
    )
    return (
        (both + 0.5) * BIN,
        after.level[there] - before.level[here],
        after.level_a[there] - before.level_a[here],
    )
