"""The engine's speed to a few parts in ten thousand, from the phases of its orders.

Each order is shifted to zero frequency by the coarse track's own angle, so that what is left is
slow; then the small correction of the speed that gathers most power of all orders together is
found for each moment, with its standard deviation from the curvature, and smoothed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal
from scipy.linalg import cholesky_banded, solveh_banded

from warmbranch.base.batch import ComplexArray, RealArray
from warmbranch.listen.spectra import HOP, RATE
from warmbranch.listen.speed import CoarseTrack

SLOW_RATE = 100
"""Hz. Sampling rate of orders shifted to zero frequency."""

WINDOW = 0.5
"""s of the moments whose corrections are sought."""

REACH, STEP = 0.012, 0.0005
"""Largest correction and its first grid, of the logarithm of the speed."""

HIGHEST = 1000.0
"""Hz of orders that tell of the speed."""

LEAST_SD = 2e-4
"""Of the logarithm of the speed: an engine's speed wanders within a moment."""

ACCELERATION = 0.05
"""1/s² per root of hertz: how restless the rate of the logarithm of the speed is taken to be."""


@dataclass(frozen=True)
class Shifted:
    """Orders of a recording, shifted to zero frequency.

    Parameters
    ----------
    time : (slow,) array, s
        Samples at ``SLOW_RATE``.
    angle : (slow,) array, rad
        Of the crankshaft.
    values : (orders, slow) array of complex
        A cosine of amplitude a at an order's frequency has ``|value| = a``.
    """

    time: RealArray
    angle: RealArray
    values: NDArray[np.complex64]


def shaft_angle(count: int, time: RealArray, log_speed: RealArray) -> RealArray:
    """Angle of the crankshaft at every sample, rad."""
    every = np.arange(count) / RATE
    speed = np.exp(np.interp(every, time, log_speed))
    return 2 * np.pi * np.cumsum(speed) / RATE


def shifted_orders(
    sound: RealArray, orders: RealArray, time: RealArray, log_speed: RealArray
) -> Shifted:
    """Shift orders to zero frequency and keep 40 Hz about it."""
    angle = shaft_angle(len(sound), time, log_speed)
    down = RATE // SLOW_RATE
    # Flat to 20 Hz within 0.1 dB, down by 60 dB from 75 Hz on, whose image would fold upon 25.
    taps = signal.firwin(2 * 3 * down + 1, 40.0, window=("kaiser", 6.0), fs=RATE)
    unit = np.exp(-1j * orders[0] * angle).astype(np.complex64)
    count = -(-len(sound) // down)
    values = np.empty((len(orders), count), np.complex64)
    turning = np.ones(len(sound), np.complex64)
    sound = sound.astype(np.float32)
    done = 0
    for place, order in enumerate(orders):
        times = round(order / orders[0])
        while done < times:
            turning *= unit
            done += 1
        values[place] = 2 * _thinned_by(down, sound * turning, taps)
    return Shifted(np.arange(values.shape[1]) * down / RATE, angle[::down], values)


def _thinned_by(down: int, moved: NDArray[np.complex64], taps: RealArray) -> NDArray[np.complex64]:
    """Every ``down``-th sample of a filtered sound, the filter's middle upon it.

    As products of blocks: a library's polyphase filter takes seven times as long of complex sounds.
    """
    reach = len(taps) // 2
    count = -(-len(moved) // down)
    blocks = -(-len(taps) // down)
    padded = np.zeros((count + blocks, down), np.complex64)
    padded.reshape(-1)[reach : reach + len(moved)] = moved
    weights = np.zeros((blocks, down), np.complex64)
    weights.reshape(-1)[: len(taps)] = taps
    products = padded @ weights.T
    thinned = np.zeros(count, np.complex64)
    for block in range(blocks):
        thinned += products[block : block + count, block]
    return thinned


def corrections(
    shifted: Shifted, orders: RealArray, track: CoarseTrack
) -> tuple[RealArray, RealArray]:
    """Correction of the logarithm of the speed at each moment of the track, and its deviation."""
    half = int(WINDOW / 2 * SLOW_RATE)
    taper = np.hanning(2 * half + 1)
    side = np.arange(round(REACH / STEP) + 1) * STEP
    grid = np.concatenate([-side[:0:-1], side])
    centres = np.clip(np.rint(track.time * SLOW_RATE).astype(int), half, None)
    centres = np.minimum(centres, len(shifted.time) - 1 - half)
    every = centres[:, None] + np.arange(-half, half + 1)
    speed = np.exp(track.log_speed)
    total = np.zeros((len(centres), len(grid)))
    # |sum|² of an order over its mean under noise of density N: 2 N rate Σ taper².
    scale = 2 * SLOW_RATE * np.sum(taper**2)
    under = [scale * track.noise_density(order * speed) for order in orders]
    block = 64  # moments at once, so that they stay in the processor's cache
    for first in range(0, len(centres), block):
        rows = slice(first, first + block)
        turned = shifted.angle[every[rows]] - shifted.angle[centres[rows]][:, None]
        unit = np.exp(-1j * orders[0] * turned[:, :, None] * side).astype(np.complex64)
        turning = np.ones_like(unit)
        done = 0
        for place, order in enumerate(orders):
            told = order * speed[rows] < HIGHEST
            if not np.any(told):
                continue
            times = round(order / orders[0])
            while done < times:
                turning *= unit
                done += 1
            part = shifted.values[place][every[rows]] * taper
            power = _turned(part, turning) / under[place][rows, None]
            # An order in the noise has nothing to say.
            total[rows] += power * ((power.max(axis=1) > 8) & told)[:, None]
    peak = np.clip(np.argmax(total, axis=1), 1, len(grid) - 2)
    frames = np.arange(len(peak))
    left, middle, right = (total[frames, peak + move] for move in (-1, 0, 1))
    bend = np.maximum(2 * middle - left - right, 1e-9)
    offset = grid[peak] + STEP * np.clip((right - left) / (2 * bend), -1, 1)
    deviation = np.sqrt(STEP**2 / bend)
    lost = (peak == 1) | (peak == len(grid) - 2) | (middle < 8)
    deviation = np.where(lost, 10 * REACH, np.hypot(deviation, LEAST_SD))
    return np.where(lost, 0.0, offset), deviation


def _turned(part: ComplexArray, turning: NDArray[np.complex64]) -> RealArray:
    """|Σ part turning|² at each correction of either sign, (moments, corrections).

    ``part`` is (moments, samples), ``turning`` (moments, samples, corrections from 0 on): turning
    by a correction of the other sign is its conjugate, so real products serve both.
    """
    split = np.stack([part.real, part.imag], axis=1).astype(np.float32)
    products = split @ turning.view(np.float32)
    (cosine, sine), (cosine_j, sine_j) = (
        (products[:, which, 0::2], products[:, which, 1::2]) for which in (0, 1)
    )
    ahead = np.square(cosine - sine_j) + np.square(sine + cosine_j)
    behind = np.square(cosine + sine_j) + np.square(cosine_j - sine)
    return np.concatenate([behind[:, :0:-1], ahead], axis=1)


def smoothed(measured: RealArray, deviation: RealArray) -> tuple[RealArray, RealArray]:
    """Smooth a curve measured at moments ``HOP`` apart, and its standard deviation.

    Minimises ``Σ (u - m)²/s² + Σ (Δ²u)²/q²``: the smoother of a random walk of the rate.

    Parameters
    ----------
    measured, deviation : (frames,) arrays
    """
    spread = ACCELERATION * HOP**1.5
    weight = 1 / np.square(deviation)
    # Stretches overlap by four fifths: neighbours say much the same.
    weight = weight * HOP / (WINDOW / 2)
    middle = float(np.average(measured, weights=weight))
    target = measured - middle
    bands = np.zeros((3, len(target)))
    stiff = 1 / spread**2
    for offset, pairs in enumerate((((0, 1), (1, 4), (2, 1)), ((0, -2), (1, -2)), ((0, 1),))):
        for first, value in pairs:
            last = len(target) - 2 + first
            bands[2 - offset, first + offset : last + offset] += stiff * value
    bands[2] += weight + 1e-6 / LEAST_SD**2
    curve = solveh_banded(bands, weight * target)
    return middle + curve, np.sqrt(_diagonal_of_inverse(bands))


def _diagonal_of_inverse(bands: RealArray) -> RealArray:
    """Diagonal of the inverse of a symmetric matrix with two bands above the diagonal.

    Takahashi's recursion on its Cholesky factor, which needs no other elements of the inverse.
    """
    upper = cholesky_banded(bands)
    count = bands.shape[1]
    d, e, f = upper[2], np.append(upper[1, 1:], 0), np.append(upper[0, 2:], [0, 0])
    out = np.zeros(count)
    s11 = s12 = s22 = 0.0  # inverse at (i+1, i+1), (i+1, i+2), (i+2, i+2)
    for place in range(count - 1, -1, -1):
        a, b = e[place] / d[place], f[place] / d[place]
        s01 = -(a * s11 + b * s12)
        s02 = -(a * s12 + b * s22)
        s00 = 1 / d[place] ** 2 - a * s01 - b * s02
        out[place] = s00
        s11, s12, s22 = s00, s01, s11
    return out
