"""What a recorder's automatic gain did, from the noise above the engine's orders.

Automatic gain lowers all that is recorded by a share of how loud that is, and follows the loudness
in its own time. What it followed is in the recording, so that a share and two times are all that
is unknown of it: for each of a grid of them the gain is worked out from the recorded level alone.
The noise far above the orders says which: but for the gain it goes slowly with the speed of the
engine, and with the road and the wind, which do not know what the engine's orders do.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import ndimage
from scipy.linalg import cholesky, solve_triangular
from scipy.special import logsumexp

from warmbranch.base.batch import BoolArray, RealArray
from warmbranch.listen.matern import matern

BLOCK = 0.02
"""s of the levels that are followed."""

SHARES = (0.05, 0.13, 0.21, 0.29, 0.37, 0.45, 0.53, 0.61, 0.69, 0.77, 0.85, 0.93)
"""dB that the gain falls for one that its input rises: 1 less the reciprocal of what is called a
compressor's ratio."""

ATTACKS = (0.03, 0.15)
RELEASES = (0.3, 0.8, 2.0, 5.0)
"""s in which the gain follows when it grows louder, and when it grows quieter."""

STEADY = 0.5
"""Chance, before it is listened to, of a recorder whose gain is steady: our judgement."""

BAND = (2000.0, 3600.0)
"""Hz. Above the orders of all but the fastest engines, and within what 8 kHz of sampling hold."""

WINDOW = 0.1
"""s of a stretch whose noise is taken."""

BURST, BURST_WINDOW = 3.5, 2.0
"""dB by which noise that leaps over the quietest quarter of so many seconds is not the road's: a
voice, a slap; and s."""

LEAST_NOISE = 20
"""Moments of noise from which on it tells."""

MOST_OVERDRIVEN = 1e-3
"""Share of the samples at the very top from which on the noise is what overdriving makes of the
orders."""

RISE, RISE_SPREAD = 8.0, 10.0
"""dB for one of the logarithm of the speed: how noise rises in one gear. Wind's sixth and tyres'
third power of the road speed are 26 and 13, and at a stand it is 0; our judgement."""

BEND, BEND_LENGTH = 1.0, 0.3
"""dB, and of the logarithm of the speed: what that rise is off a straight line."""

GUSTS, GUST_TIME = (0.3, 1.0, 2.5), 1.0
"""dB, weighed by the data, and s: what the road's surface and the wind add."""

FLICKER = 0.55
"""dB. Scatter of the mean logarithm of noise in ``BAND`` over ``WINDOW``."""

MOST_MOMENTS = 300
"""In the likelihood, whose cost goes with their cube."""

NEGLIGIBLE = 1e-3
"""Chance below which a gain is left out."""


@dataclass(frozen=True)
class GainHeard:
    """Gains that a recorder may have had, and their chances.

    Parameters
    ----------
    share : (gains,) array
        dB that the gain falls for one that its input rises, not falling; 0 of a steady one.
    chance : (gains,) array
        Sums to 1.
    gain : (gains, frames) array, dB
        Over its median.
    told : bool
        Whether the noise had anything to say.
    """

    share: RealArray
    chance: RealArray
    gain: RealArray
    told: bool

    @property
    def mean(self) -> RealArray:
        """Expected gain, (frames,), dB."""
        return self.chance @ self.gain

    @property
    def steady(self) -> float:
        """Chance of a gain that is steady."""
        return float(self.chance[self.share == 0].sum())

    def quantile(self, level: float) -> float:
        """Share below which a part of the chance lies."""
        place = int(np.searchsorted(np.cumsum(self.chance), level))
        return float(self.share[min(place, len(self.share) - 1)])

    def some(self, count: int) -> RealArray:
        """Gains, each as often as it is likely, (count, frames)."""
        edges: RealArray = np.cumsum(self.chance)
        levels: RealArray = (np.arange(count) + 0.5) / count * float(edges[-1])
        return self.gain[np.searchsorted(edges, levels)]


def known_gain(gain: RealArray) -> GainHeard:
    """A gain that a pilot tone has told."""
    return GainHeard(np.zeros(1), np.ones(1), gain[None], True)


def gain_heard(
    samples: RealArray, sample_rate: int, time: RealArray, log_speed: RealArray, held: BoolArray
) -> GainHeard:
    """Weigh the gains that automatic gain may have had.

    Parameters
    ----------
    samples : (n,) array
    sample_rate : int, Hz
    time : (frames,) array, s
    log_speed : (frames,) array
    held : (frames,) array of bool
        Moments whose speed is known.
    """
    shares = np.array([0.0] + [share for share in SHARES for _ in product(ATTACKS, RELEASES)])
    times = np.array([(1.0, 1.0), *(list(product(ATTACKS, RELEASES)) * len(SHARES))])
    level = _levels(samples, sample_rate)
    middles = (np.arange(len(level)) + 0.5) * BLOCK
    followed = followed_gain(level, shares, times[:, 0], times[:, 1])
    rows: list[RealArray] = [np.interp(time, middles, one) for one in followed]
    gain: RealArray = np.array(rows)
    gain -= np.median(gain, axis=1, keepdims=True)
    before = np.where(shares == 0, STEADY, (1 - STEADY) / (len(shares) - 1))
    noise = _noise(samples, sample_rate, time)
    heard = held & ~_bursts(noise, time)
    at_top = np.abs(samples) >= 0.995 * np.abs(samples).max()
    overdriven = int(np.count_nonzero(at_top)) > MOST_OVERDRIVEN * len(samples)
    told = not overdriven and int(np.count_nonzero(heard)) >= LEAST_NOISE
    logs = np.log(before)
    if told:
        logs = logs + _likelihood(noise[heard], gain[:, heard], time[heard], log_speed[heard])
    chance = np.exp(logs - logsumexp(logs))
    keep = chance > NEGLIGIBLE
    return GainHeard(shares[keep], chance[keep] / chance[keep].sum(), gain[keep], told)


def followed_gain(
    level: RealArray, share: RealArray, attack: RealArray, release: RealArray
) -> RealArray:
    r"""Gain that made a level of what was recorded, (gains, blocks), dB.

    The detector follows the input :math:`x` by :math:`y_n = y_{n-1} + p\,(x_n - y_{n-1})`, with
    :math:`p` of the attack where :math:`x_n > y_{n-1}`, else of the release; the gain is
    :math:`-s\,y_n`. Of what is recorded, :math:`x_n - s\,y_n`, both follow.

    Parameters
    ----------
    level : (blocks,) array, dB
        Recorded, of blocks ``BLOCK`` apart.
    share : (gains,) array
        Below 1.
    attack, release : (gains,) arrays, s

    Source
    ------
    Giannoulis, Massberg and Reiss, J. Audio Eng. Soc. 60 (2012) 399: smooth, branching, in
    decibels.
    """
    paces = 1 - np.exp(-BLOCK / attack), 1 - np.exp(-BLOCK / release)
    followed = np.full(len(share), level[0]) / (1 - share)
    gains = np.empty((len(level), len(share)))
    for place, recorded in enumerate(level):
        ahead = recorded - (1 - share) * followed
        pace = np.where(ahead > 0, *paces)
        followed = followed + pace * ahead / (1 - share * pace)
        gains[place] = -share * followed
    return gains.T


def _levels(samples: RealArray, sample_rate: int) -> RealArray:
    size = round(BLOCK * sample_rate)
    count = len(samples) // size
    power = np.square(samples[: count * size]).reshape(count, size).mean(axis=1)
    return 10 * np.log10(np.maximum(power, 1e-9 * power.max()))


def _noise(samples: RealArray, sample_rate: int, time: RealArray) -> RealArray:
    """Mean of the logarithm of the power in ``BAND`` about each moment, dB: tones count little."""
    size = round(WINDOW * sample_rate)
    taper = np.hanning(size + 1)[:size]
    starts = np.clip(np.rint(time * sample_rate).astype(int) - size // 2, 0, len(samples) - size)
    low, high = (round(edge * WINDOW) for edge in BAND)
    view = np.lib.stride_tricks.sliding_window_view(samples, size)
    noise = np.empty(len(time))
    step = 256  # frames at once: memory stays small in long recordings
    for first in range(0, len(time), step):
        some = slice(first, first + step)
        spectrum = np.fft.rfft(view[starts[some]] * taper)[:, low:high]
        noise[some] = 10 * np.log10(np.square(np.abs(spectrum)) + 1e-30).mean(axis=1)
    return noise


def _bursts(noise: RealArray, time: RealArray) -> BoolArray:
    """Moments whose noise leaps, and their neighbours."""
    hop = float(time[1] - time[0]) if len(time) > 1 else WINDOW
    size = 2 * round(BURST_WINDOW / hop / 2) + 1
    quiet = ndimage.percentile_filter(noise, 25, size=size, mode="nearest")
    return ndimage.binary_dilation(noise > quiet + BURST)


def _likelihood(
    noise: RealArray, gain: RealArray, time: RealArray, log_speed: RealArray
) -> RealArray:
    """Log-likelihood of each gain, (gains,), to a constant."""
    step = -(-len(noise) // MOST_MOMENTS)
    count = len(noise) // step * step

    def thinned(values: RealArray) -> RealArray:
        return values[..., :count].reshape(*values.shape[:-1], -1, step).mean(axis=-1)

    at, u, heard = thinned(time), thinned(log_speed), thinned(noise)
    u = u - u.mean()
    rest = heard - thinned(gain) - RISE * u
    rest -= rest.mean(axis=1, keepdims=True)
    # The level of noise itself is unknown.
    slow = 100.0 + RISE_SPREAD**2 * np.outer(u, u) + BEND**2 * matern(u, u, BEND_LENGTH)
    slow += FLICKER**2 / step * np.eye(len(u))
    gusts = matern(at, at, GUST_TIME)
    logs: list[RealArray] = []
    for gust in GUSTS:
        factor = cholesky(slow + gust**2 * gusts, lower=True, check_finite=False)
        white = np.asarray(solve_triangular(factor, rest.T, lower=True), np.float64)
        logs.append(-0.5 * np.square(white).sum(axis=0) - np.log(np.diag(factor)).sum())
    return np.asarray(logsumexp(np.array(logs), axis=0), np.float64)
