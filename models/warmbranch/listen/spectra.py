"""Power spectra of short stretches, and the noise under the tones in them."""

from __future__ import annotations

from math import gcd

import numpy as np
from scipy import ndimage, signal

from warmbranch.base.batch import IntArray, RealArray

RATE = 3000
"""Hz. Sampling rate of everything after the first step: orders are followed up to a kilohertz."""

QUANTILE = 0.35
"""Of the powers of neighbouring frequencies, taken as noise: under half, as orders stand there."""

HOP = 0.1
"""s between stretches."""


def reduced(samples: RealArray, sample_rate: int) -> RealArray:
    """The same sound at ``RATE``, its mean taken off.

    Parameters
    ----------
    samples : (n,) array
    sample_rate : int, Hz
        4 kHz at least.

    Returns
    -------
    (n RATE / sample_rate,) array
    """
    divisor = gcd(sample_rate, RATE)
    centred = samples - np.mean(samples)
    return signal.resample_poly(centred, RATE // divisor, sample_rate // divisor)


def stretches(length: int, window: int, hop: int) -> IntArray:
    """First samples of the stretches that fit in, as many as do."""
    return np.arange(0, max(length - window, 0) + 1, hop)


def power_spectra(
    sound: RealArray, starts: IntArray, window: int, size: int, bins: int
) -> RealArray:
    """Power of a sine's amplitude² / 2 at its own frequency, Hann window.

    Parameters
    ----------
    sound : (n,) array
    starts : (frames,) array of int
    window, size : int
        Samples of a stretch, and of the transform that it is padded to.
    bins : int
        How many of the lowest frequencies are kept.

    Returns
    -------
    (frames, bins) array of float32
    """
    taper = np.hanning(window + 1)[:window]
    scale = 2 / taper.sum() ** 2
    spectra = np.empty((len(starts), bins), np.float32)
    step = 256  # frames at once: memory stays small in long recordings
    view = np.lib.stride_tricks.sliding_window_view(sound, window)
    for first in range(0, len(starts), step):
        pieces = view[starts[first : first + step]] * taper
        spectrum = np.fft.rfft(pieces, size)[:, :bins]
        spectra[first : first + step] = scale * (spectrum.real**2 + spectrum.imag**2)
    return spectra


def noise_floor(spectra: RealArray, width: int, stride: int, memory: float = 5.0) -> RealArray:
    """Power of the noise under the orders, of the mean of its exponential distribution.

    Parameters
    ----------
    spectra : (frames, bins) array
    width : int
        Frequencies over which a quantile is taken.
    stride : int
        Every how many a quantile is taken; between them it is interpolated in its logarithm.
    memory : float
        Frames over which floors are averaged, in their logarithm.

    Returns
    -------
    (frames, bins) array of float32
    """
    bins = spectra.shape[1]
    centres = np.arange(0, bins, stride, dtype=np.int64)
    floors = np.empty((len(spectra), len(centres)), np.float32)
    for place, centre in enumerate(centres):
        low = int(np.clip(centre - width // 2, 0, max(bins - width, 0)))
        part = spectra[:, low : low + width : 2]  # padded spectra: neighbours tell nothing new
        rank = int(QUANTILE * part.shape[1])
        floors[:, place] = np.partition(part, rank, axis=1)[:, rank]
    tiny = np.float32(1e-30)
    logs = np.log(np.maximum(floors, tiny) / -np.log(1 - QUANTILE))
    logs = ndimage.gaussian_filter1d(logs, memory / 2, axis=0, mode="nearest")
    every = np.arange(bins, dtype=np.int64)
    right = np.clip(np.searchsorted(centres, every, side="right"), 1, max(len(centres) - 1, 1))
    if len(centres) == 1:
        return np.exp(np.repeat(logs, bins, axis=1))
    left = right - 1
    share = ((every - centres[left]) / (centres[right] - centres[left])).astype(np.float32)
    share = np.minimum(np.maximum(share, 0), 1)
    return np.exp(logs[:, left] * (1 - share) + logs[:, right] * share)
