"""How likely each engine speed is at each moment, from the orders that its layout permits.

The power at an order, over the noise there, is exponentially distributed; its mean is one and the
order's ratio of signal to noise. That ratio is not known: it is a mixture of classes, whose
weights start from the layout and are learnt along a track (Leclère, André and Antoni, MSSP 81
(2016) 371, weigh many orders likewise).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.special import digamma, expit, gammaln, logit

from warmbranch.base.batch import BoolArray, IntArray, RealArray
from warmbranch.listen.layout import Layout

ByteArray = NDArray[np.uint8]

CLASSES = np.array([0.0, 2.0, 8.0, 30.0, 120.0, 1000.0, 10000.0])
"""Ratios of signal to noise in power that an order may have at a moment; 0: not heard."""

LOUD = np.array([0.0, 0.15, 0.2, 0.2, 0.18, 0.15, 0.12])
FAINT = np.array([0.0, 0.35, 0.3, 0.18, 0.1, 0.05, 0.02])
"""Weights of the classes before learning, of an order that is heard: one at which pulses add up,
and any other."""

UNHEARD_FIRST, UNHEARD_EACH, UNHEARD_MOST = 0.2, 0.12, 0.75
UNHEARD_OTHER = 0.65
"""Chance that an order is not heard, before learning: of the first multiple of the firing order,
more for each further one, as silencers leave little of them; and of any other order."""

PRIOR_MOMENTS = 15.0
"""Moments that the weights before learning count for."""

ALIKE = 3.0
"""Moments that what the orders of a kind have in common counts for in one of them."""

BAND = 40
"""States, a quarter of the logarithm of the speed, over which an order's levels are much the same:
wide enough for its moments to tell them."""

WHOLE = 1 << 30
"""States: one band for all."""

LEVELS = 256
PER_OCTAVE = 8
ZERO = 72


def quantised(ratio: RealArray) -> ByteArray:
    """Power over noise as a byte: an eighth of an octave a step."""
    logs = np.log2(np.maximum(ratio, 1e-9)) * PER_OCTAVE + ZERO
    return np.clip(np.rint(logs), 0, LEVELS - 1).astype(np.uint8)


RATIOS = np.exp2((np.arange(LEVELS) - ZERO) / PER_OCTAVE)


def _class_logs(ratio: RealArray) -> RealArray:
    """Log-likelihood of each class against noise alone, (classes, ...)."""
    signal = CLASSES.reshape(-1, *[1] * ratio.ndim)
    return ratio * signal / (1 + signal) - np.log1p(signal)


CLASS_LOGS = _class_logs(RATIOS)


PARTS = np.exp(CLASS_LOGS - CLASS_LOGS.max(axis=0))
"""Likelihoods of each class, (classes, LEVELS), to a factor that is the same for all."""


def table(weights: RealArray, background: RealArray) -> RealArray:
    """Log-likelihood of a byte against the background's mixture: (orders, LEVELS) of float32.

    An order is never taken for quieter than the background, or the gaps between the true tones
    would speak for a comb that is twice as dense.
    """
    quiet = np.minimum(weights[:, :1], background[0])
    loud = weights[:, 1:] * (1 - quiet) / weights[:, 1:].sum(axis=1, keepdims=True)
    mixed = np.concatenate([quiet, loud], axis=1)
    return (np.log(mixed @ PARTS) - np.log(background @ PARTS)).astype(np.float32)


def background(held: ByteArray) -> RealArray:
    """Weights of the classes over all frequencies and moments, (classes,).

    A voice, a tyre or another order stands above the noise too: an order tells of the engine only
    as far as it stands out more often than any frequency does.
    """
    counts = np.bincount(held.ravel(), minlength=LEVELS).astype(np.float64)
    weights = np.full(len(CLASSES), 1 / len(CLASSES))
    for _ in range(30):
        share = weights[:, None] * PARTS
        share /= share.sum(axis=0)
        weights = share @ counts
        weights /= weights.sum()
    return 0.99 * weights + 0.01 / len(weights)


_digamma = cast("Callable[[RealArray], RealArray]", digamma)
_expit = cast("Callable[[RealArray], RealArray]", expit)
_gammaln = cast("Callable[[RealArray], RealArray]", gammaln)


def _divergence(after: RealArray, before: RealArray) -> RealArray:
    """Kullback and Leibler's, of Dirichlet distributions (rows, classes) from one (classes,)."""
    whole = after.sum(axis=1)
    means = _digamma(after) - _digamma(whole)[:, None]
    sizes = _gammaln(whole) - _gammaln(after).sum(axis=1)
    sizes += _gammaln(before).sum() - _gammaln(before.sum(keepdims=True))
    return sizes + ((after - before) * means).sum(axis=1)


def main_spacing(layout: Layout) -> float:
    """Distance of the orders that are expected."""
    expected = layout.orders[layout.expected]
    return float(expected[0] if len(expected) == 1 else np.min(np.diff(expected)))


def _shared_out(weights: RealArray, seen: RealArray) -> RealArray:
    """Parts of the classes, (orders, classes), in the levels seen, (orders, LEVELS)."""
    whole = weights @ PARTS
    return weights * ((seen / whole) @ PARTS.T)


@dataclass(frozen=True)
class Comb:
    """Bytes of a recording and where the orders of each speed lie in them.

    Parameters
    ----------
    bytes : (bins, frames) array of uint8
    log_speed : (states,) array
        Natural logarithm of revolutions per second.
    places : (orders, states) array of int
        Bin of each order; ``bins - 1``, which holds what tells nothing, where out of range.
    count : (orders, states) array of float32
        What each order counts for: less than 1 where a stretch cannot resolve it from its
        neighbour, or a slow engine's dense comb would count every tone many times.
    background : (classes,) array
        Weights of any frequency at any moment.
    layout : Layout
    bin_width, lowest, resolved : float, Hz
        Of a bin; from where on orders count; distance from which on neighbours are told apart.
    """

    bytes: ByteArray
    log_speed: RealArray
    places: IntArray
    count: RealArray
    background: RealArray
    layout: Layout
    bin_width: float
    lowest: float
    resolved: float

    @classmethod
    def over(
        cls,
        ratio: RealArray,
        bin_width: float,
        lowest: float,
        resolved: float,
        log_speed: RealArray,
        layout: Layout,
    ) -> Comb:
        """Comb on powers over noise, (frames, bins), from ``lowest`` Hz on; ``resolved`` in Hz."""
        heard = quantised(ratio)
        held = np.pad(heard.T, ((0, 1), (0, 0)))
        anywhere = background(heard[:, int(lowest / bin_width) :])
        nowhere = np.zeros((len(layout.orders), 0), np.int64)
        none = nowhere.astype(np.float32)
        comb = cls(held, log_speed, nowhere, none, anywhere, layout, bin_width, lowest, resolved)
        return comb.at(log_speed)

    def at(self, log_speed: RealArray) -> Comb:
        """The same sound by other speeds."""
        speed = np.exp(log_speed)
        places = np.rint(np.outer(self.layout.orders, speed) / self.bin_width).astype(np.int64)
        bins = len(self.bytes) - 1
        places[(places >= bins) | (places * self.bin_width < self.lowest)] = bins
        spacing = np.where(self.layout.expected, main_spacing(self.layout), self.layout.orders[0])
        count = np.minimum(np.outer(spacing, speed) / self.resolved, 1).astype(np.float32)
        return replace(self, log_speed=log_speed, places=places, count=count)

    def weights(self) -> RealArray:
        """Weights before learning, (orders, classes)."""
        layout = self.layout
        rank = np.cumsum(layout.expected) - 1
        unheard = np.minimum(UNHEARD_FIRST + UNHEARD_EACH * rank, UNHEARD_MOST)
        unheard = np.where(layout.expected, unheard, UNHEARD_OTHER)[:, None]
        weights = np.where(layout.expected[:, None], LOUD, FAINT) * (1 - unheard)
        weights[:, :1] = unheard
        return weights

    @cached_property
    def _touched(self) -> tuple[list[IntArray], csr_array]:
        """Bins that each order touches, and which state counts which of them for how much.

        Several speeds share a bin of a low order: each is looked up once.
        """
        nothing = len(self.bytes) - 1
        touched: list[IntArray] = []
        rows: list[IntArray] = []
        columns: list[IntArray] = []
        before = 0
        for place in self.places:
            states = np.flatnonzero(place < nothing)
            bins, column = np.unique(place[states], return_inverse=True)
            touched.append(bins)
            rows.append(states)
            columns.append(before + column)
            before += len(bins)
        count = np.concatenate([self.count[order, at] for order, at in enumerate(rows)])
        row, column = np.concatenate(rows), np.concatenate(columns)
        shape = (len(self.log_speed), before)
        return touched, csr_array((count, (row, column)), shape=shape)

    def score(self, weights: RealArray) -> RealArray:
        """Log-likelihood of every speed, (frames, states)."""
        tables = table(weights, self.background)
        touched, counts = self._touched
        frames = self.bytes.shape[1]
        total = np.empty((frames, len(self.log_speed)), np.float32)
        step = 512  # frames at once: memory stays small in long recordings
        for first in range(0, frames, step):
            some = self.bytes[:, first : first + step]
            values = np.concatenate(
                [np.take(own, some[bins]) for own, bins in zip(tables, touched, strict=True)]
            )
            total[first : first + step] = (counts @ values).T
        return total

    def _seen(
        self, path: IntArray, heard: BoolArray, band: int, counts: RealArray | None
    ) -> RealArray:
        """What each order's levels count for together, (orders, bands of states, LEVELS).

        ``counts`` are those of each order and state, 1 by default.
        """
        frames = np.flatnonzero(heard)
        states = path[frames]
        nothing = len(self.bytes) - 1
        bands = states // band
        bands = bands - bands.min(initial=0)
        many = int(bands.max(initial=0)) + 1
        seen = np.zeros((len(self.places), many, LEVELS))
        for order, place in enumerate(self.places):
            bins = place[states]
            inside = bins < nothing
            levels = bands[inside] * LEVELS + self.bytes[bins[inside], frames[inside]]
            weigh = None if counts is None else counts[order, states[inside]]
            seen[order] = np.bincount(levels, weigh, many * LEVELS).reshape(many, LEVELS)
        return seen

    def learnt(self, path: IntArray, heard: BoolArray) -> RealArray:
        """Weights along a path of states, where it is heard, (orders, classes)."""
        prior = self.weights()
        learnt = PRIOR_MOMENTS * prior + _shared_out(
            prior, self._seen(path, heard, WHOLE, None)[:, 0]
        )
        return learnt / learnt.sum(axis=1, keepdims=True)

    def evidence(self, path: IntArray, heard: BoolArray, news: float) -> float:
        """Evidence of a path of states, less that of silence; ``news`` is what a moment counts for.

        An order is silent, or has weights of its own in each ``BAND`` of speeds, and pays for them:
        a comb that is twice as dense explains as much with twice the orders, every other of them
        silent, and learning would make something of their noise; and a path that leaves the true
        speed for its double half way has orders at one speed now loud and now silent. What weights
        cost is how far they go from what the orders of their kind have in common, those at which
        pulses add up and the others (the divergence of Dirichlet distributions, as in the evidence
        of a mixture: Bishop, Pattern Recognition and Machine Learning (2006), eq. 10.70).
        """
        prior = self.weights()
        seen = news * self._seen(path, heard, BAND, self.count)
        bands = seen.shape[1]
        counts = _shared_out(prior.repeat(bands, axis=0), seen.reshape(-1, LEVELS))
        counts = counts.reshape(len(seen), bands, -1)
        told = counts.sum(axis=(1, 2)) > 0
        total = 0.0
        for kind in (self.layout.expected, ~self.layout.expected):
            some, levels = counts[kind & told], seen[kind & told]
            if not len(some):
                continue
            alike = some.sum(axis=1)
            alike = alike / alike.sum(axis=1, keepdims=True)
            alike = ALIKE * (prior[kind].mean(axis=0) + alike.sum(axis=0)) / (1 + len(some))
            after = (alike + some).reshape(-1, len(CLASSES))
            weights = after / after.sum(axis=1, keepdims=True)
            gain = np.einsum(
                "ij,ij->i", levels.reshape(-1, LEVELS), table(weights, self.background)
            )
            own = (gain - _divergence(after, alike)).reshape(len(some), bands).sum(axis=1)
            sounds = 0.5
            for _ in range(20):
                share = _expit(own + logit(sounds))
                sounds = (1 + share.sum()) / (2 + len(share))
            total += float(np.logaddexp(np.log1p(-sounds), np.log(sounds) + own).sum())
        return total
