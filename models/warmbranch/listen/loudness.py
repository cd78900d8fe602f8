"""Loudness against engine speed: what drones, and what a branch changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, cholesky

from warmbranch.base.batch import BoolArray, IntArray, RealArray
from warmbranch.listen.cells import means_at
from warmbranch.listen.gain import GainHeard
from warmbranch.listen.matern import matern
from warmbranch.listen.orders import OrderLevels
from warmbranch.listen.weighting import a_weighting

BIN = 50.0 / 60
"""1/s. Width of a step of engine speed, 50 rpm."""

SCATTER = 0.6
"""dB of a step that four moments or more rest on, from one pull to the next; made-up recordings
have it, and ISO 5128 repeats until within 3 dB."""

DRIFT, DRIFT_LENGTH = 0.7, 0.3
"""dB, and of the logarithm of the speed: what a recorder's own gain adds slowly over a pull."""

SWELL, SWELL_LENGTH = 8.0, 0.6
RIPPLE, RIPPLE_LENGTH = 3.0, 0.06
"""dB, and of the logarithm of the speed: how an engine's loudness goes over its speed."""

DRAWS = 400

GAINS = 20
"""Gains of the recorders that draws are made with."""


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
    may, may_a : (gains, bins) arrays, dB
        The levels by gains that the recorders may have had, each as likely; None where their gain
        is known.
    """

    revolutions_per_second: RealArray
    level: RealArray
    level_a: RealArray
    moments: IntArray
    may: RealArray | None = None
    may_a: RealArray | None = None


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
    gains: list[GainHeard],
) -> Loudness:
    """Loudness over several recordings of one state, powers averaged at each speed.

    One recorder made them all: of what its gain may have been, it is the same share in each.
    """
    known = all(len(gain.chance) == 1 for gain in gains)
    plain: list[RealArray] = []
    weighted: list[RealArray] = []
    speeds: list[RealArray] = []
    for level, log_speed, moments, gain in zip(levels, log_speeds, held, gains, strict=True):
        speed = np.exp(log_speed[moments])
        clean = np.maximum(level.power[:, moments] - level.noise[:, moments], 0)
        taken = np.array([gain.mean] if known else [gain.mean, *gain.some(GAINS)])[:, moments]
        scale = 10 ** (-taken / 10)
        weight = 10 ** (a_weighting(orders[:, None] * speed) / 10)
        plain.append(clean.sum(axis=0) * scale)
        weighted.append((clean * weight).sum(axis=0) * scale)
        speeds.append(speed)
    speed = np.concatenate(speeds)
    values, place, counts = np.unique(
        np.floor(speed / BIN), return_inverse=True, return_counts=True
    )
    tiny = 1e-30
    level, level_a = (
        10 * np.log10(means_at(np.concatenate(powers, axis=1), place, counts) + tiny)
        for powers in (plain, weighted)
    )
    keep = level[0] > -200
    level, level_a = level[:, keep], level_a[:, keep]
    may = (None, None) if known else (level[1:], level_a[1:])
    return Loudness((values[keep] + 0.5) * BIN, level[0], level_a[0], counts[keep], *may)


def drone(curve: Loudness, *, weighted: bool = True) -> Drone | None:
    """Loudest engine speed and how sure that is; None with fewer than five speeds heard.

    The curve is a Gaussian process, heard with a scatter and with a drift of the recorder's gain.
    The loudest speed is that of its mean; curves drawn from what the data and the recorder's gain
    leave open say where else it may be, and an interval is the shortest about it that holds its
    share of them.
    """
    level = curve.level_a if weighted else curve.level
    if len(level) < 5:
        return None
    rng = np.random.default_rng(20)
    u = np.log(curve.revolutions_per_second)
    own = SWELL**2 * matern(u, u, SWELL_LENGTH) + RIPPLE**2 * matern(u, u, RIPPLE_LENGTH)
    heard = own + DRIFT**2 * matern(u, u, DRIFT_LENGTH)
    heard += np.diag(SCATTER**2 / (np.minimum(curve.moments, 4) / 4))
    weights = cho_solve(cho_factor(heard, lower=True), own)
    may = curve.may_a if weighted else curve.may
    may = level[None] if may is None else may
    means = (may - may.mean(axis=1, keepdims=True)) @ weights
    mean = weights.T @ (level - level.mean())
    left = own - own @ weights + 1e-6 * SWELL**2 * np.eye(len(u))
    drawn = (cholesky(left, lower=True) @ rng.standard_normal((len(u), DRAWS))).T
    drawn += means[np.arange(DRAWS) % len(means)]
    # Within a step the place of the peak is not known.
    places = curve.revolutions_per_second[np.argmax(drawn, axis=1)]
    places = np.sort(places + BIN * rng.uniform(-0.5, 0.5, DRAWS))
    peak = int(np.argmax(mean))
    loudest = float(curve.revolutions_per_second[peak])
    return Drone(
        loudest,
        _shortest(places, loudest, 0.5),
        _shortest(places, loudest, 0.9),
        peak in (0, len(level) - 1),
    )


def _shortest(rising: RealArray, about: float, share: float) -> tuple[float, float]:
    """Limits of the shortest interval that holds a share of the values, and ``about``."""
    count = int(np.ceil(share * len(rising)))
    low, high = rising[: len(rising) - count + 1], rising[count - 1 :]
    low, high = np.minimum(low, about), np.maximum(high, about)
    best = int(np.argmin(high - low))
    return float(low[best]), float(high[best])


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
