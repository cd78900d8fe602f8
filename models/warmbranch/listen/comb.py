"""How likely each engine speed is at each moment, from the orders that its layout permits.

The power at an order, over the noise there, is exponentially distributed; its mean is one and the
order's ratio of signal to noise. That ratio is not known: it is a mixture of classes, whose
weights start from the layout and are learnt along a track (Leclère, André and Antoni, MSSP 81
(2016) 371, weigh many orders likewise).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.listen.layout import Layout

CLASSES = np.array([0.0, 2.0, 8.0, 30.0, 120.0, 1000.0, 10000.0])
"""Ratios of signal to noise in power that an order may have at a moment; 0: not heard."""

EXPECTED = np.array([0.25, 0.12, 0.15, 0.15, 0.13, 0.12, 0.08])
OTHER = np.array([0.60, 0.14, 0.12, 0.07, 0.04, 0.02, 0.01])
"""Weights of the classes before learning, of orders whose pulses add up and of the others."""

PRIOR_MOMENTS = 15.0
"""Moments that the weights before learning count for."""

MOST = 9.0
"""Log-likelihood that one order may lend at one moment: a voice or a horn is loud, not an engine."""

LEVELS = 256
PER_OCTAVE = 8
ZERO = 72


def quantised(ratio: FloatArray) -> FloatArray:
    """Power over noise as a byte: an eighth of an octave a step."""
    logs = np.log2(np.maximum(ratio, 1e-9)) * PER_OCTAVE + ZERO
    return np.clip(np.rint(logs), 0, LEVELS - 1).astype(np.uint8)


RATIOS = np.exp2((np.arange(LEVELS) - ZERO) / PER_OCTAVE)


def _class_logs(ratio: FloatArray) -> FloatArray:
    """Log-likelihood of each class against noise alone, (classes, ...)."""
    signal = CLASSES.reshape(-1, *[1] * ratio.ndim)
    return ratio * signal / (1 + signal) - np.log1p(signal)


CLASS_LOGS = _class_logs(RATIOS)


def table(weights: FloatArray) -> FloatArray:
    """Log-likelihood of a byte against noise, for mixtures (orders, classes): (orders, LEVELS)."""
    top = CLASS_LOGS.max(axis=0)
    parts = np.exp(CLASS_LOGS - top)
    return np.minimum(np.log(weights @ parts) + top, MOST).astype(np.float32)


@dataclass(frozen=True)
class Comb:
    """Bytes of a recording and where the orders of each speed lie in them.

    Parameters
    ----------
    bytes : (frames, bins) array of uint8
    log_speed : (states,) array
        Natural logarithm of revolutions per second.
    places : (orders, states) array of int
        Bin of each order; ``bins - 1``, which holds what tells nothing, where out of range.
    """

    bytes: FloatArray
    log_speed: FloatArray
    places: IntArray
    layout: Layout

    @classmethod
    def over(
        cls, ratio: FloatArray, bin_width: float, lowest: float, log_speed: FloatArray, layout: Layout
    ) -> Comb:
        """Comb on powers over noise, (frames, bins), heard from ``lowest`` Hz on."""
        places = np.rint(np.outer(layout.orders, np.exp(log_speed)) / bin_width).astype(np.int64)
        bins = ratio.shape[1]
        places[(places >= bins) | (places * bin_width < lowest)] = bins
        held = np.concatenate([quantised(ratio), np.zeros((len(ratio), 1), np.uint8)], axis=1)
        return cls(held, log_speed, places, layout)

    def weights(self) -> FloatArray:
        """Weights before learning, (orders, classes)."""
        return np.where(self.layout.expected[:, None], EXPECTED, OTHER)

    def score(self, weights: FloatArray) -> FloatArray:
        """Log-likelihood of every speed, (frames, states)."""
        tables = table(weights)
        total = np.zeros((len(self.bytes), len(self.log_speed)), np.float32)
        nothing = self.bytes.shape[1] - 1
        for place, values in zip(self.places, tables, strict=True):
            inside = place < nothing
            total[:, inside] += values[self.bytes[:, place[inside]]]
        return total

    def learnt(self, path: IntArray, heard: FloatArray) -> FloatArray:
        """Weights along a path of states, (orders, classes); ``heard`` weighs the moments."""
        frames = np.flatnonzero(heard > 0)
        prior = self.weights()
        learnt = np.empty_like(prior)
        nothing = self.bytes.shape[1] - 1
        parts = np.exp(CLASS_LOGS - CLASS_LOGS.max(axis=0))
        for order, place in enumerate(self.places):
            bins = place[path[frames]]
            inside = bins < nothing
            seen = self.bytes[frames[inside], bins[inside]]
            share = prior[order][:, None] * parts[:, seen]
            share /= share.sum(axis=0)
            learnt[order] = PRIOR_MOMENTS * prior[order] + share @ heard[frames[inside]]
        return learnt / learnt.sum(axis=1, keepdims=True)

    def along(self, weights: FloatArray, path: IntArray, frames: IntArray) -> float:
        """Log-likelihood of a path of states at some frames."""
        tables = table(weights)
        nothing = self.bytes.shape[1] - 1
        total = 0.0
        for place, values in zip(self.places, tables, strict=True):
            bins = place[path]
            inside = bins < nothing
            total += float(values[self.bytes[frames[inside], bins[inside]]].sum())
        return total
