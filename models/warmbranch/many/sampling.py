"""Which designs to look at: points of a unit cube, and the distributions that they are mapped to.

A point has one coordinate an input. For a grid or a list a coordinate is the place of the value
among the input's own; for a sample it lies strictly between 0 and 1 and is a probability. Points
come a stretch at a time, any stretch is the same whatever was asked before, and equal seeds give
equal points: that is what lets a sweep be cut into chunks and be taken up again.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from warmbranch.base.batch import FloatArray

SOBOL_BITS = 30
"""Binary digits of a Sobol coordinate; 2**30 points in all."""

LEAST_SHARE = 1e-6
"""Least share of a distribution that must lie between its limits."""


class Points(Protocol):
    """A numbered set of points."""

    count: int
    dimensions: int

    def between(self, start: int, stop: int) -> FloatArray:
        """Points ``start`` to ``stop`` (not included), (points, dimensions)."""
        ...


class GridPoints:
    """Every combination; the last input changes fastest.

    Parameters
    ----------
    sizes : sequence of int
        Values of each input.
    """

    def __init__(self, sizes: Sequence[int]) -> None:
        self.sizes = tuple(sizes)
        self.count = math.prod(self.sizes)
        self.dimensions = len(self.sizes)

    def between(self, start: int, stop: int) -> FloatArray:
        """Places along each input."""
        stop = min(stop, self.count)
        places = np.unravel_index(np.arange(start, stop), self.sizes)
        return np.stack(places, axis=1).astype(np.float64)


class ListPoints:
    """One design a place: the first values of all inputs together, then the second, and so on.

    Parameters
    ----------
    count, dimensions : int
    """

    def __init__(self, count: int, dimensions: int) -> None:
        self.count, self.dimensions = count, dimensions

    def between(self, start: int, stop: int) -> FloatArray:
        """The place itself, for every input."""
        places = np.arange(start, min(stop, self.count), dtype=np.float64)
        return np.repeat(places[:, None], self.dimensions, axis=1)


class SobolPoints:
    """A scrambled Sobol sequence: evenly spread whatever its length, best at powers of two.

    Parameters
    ----------
    count, dimensions, seed : int

    Notes
    -----
    The scrambling is scipy's, after Matousek, Journal of Complexity 14 (1998) 527, from memory.
    Each coordinate is moved to the middle of its cell of width 2⁻³⁰, so that none is 0.
    """

    def __init__(self, count: int, dimensions: int, seed: int) -> None:
        self.count, self.dimensions = count, dimensions
        self._engine = _qmc().Sobol(dimensions, bits=SOBOL_BITS, rng=seed)

    def between(self, start: int, stop: int) -> FloatArray:
        """Coordinates strictly between 0 and 1."""
        stop = min(stop, self.count)
        if self._engine.num_generated != start:
            self._engine.reset()
            if start:
                self._engine.fast_forward(start)
        if start:
            drawn = self._engine.random(stop - start)
        else:  # the beginning may be drawn by powers of two only
            drawn = self._engine.random_base2(math.ceil(math.log2(max(1, stop))))[:stop]
        return np.asarray(drawn, dtype=np.float64) + 2.0 ** -(SOBOL_BITS + 1)


class LatinHypercubePoints:
    """A Latin hypercube: each input takes every one of ``count`` equal slices once.

    Parameters
    ----------
    count, dimensions, seed : int

    Notes
    -----
    McKay, Beckman and Conover, Technometrics 21 (1979) 239. The whole is drawn at once.
    """

    def __init__(self, count: int, dimensions: int, seed: int) -> None:
        self.count, self.dimensions = count, dimensions
        self._points = fixed_points(_qmc().LatinHypercube(dimensions, rng=seed).random(count))

    def between(self, start: int, stop: int) -> FloatArray:
        """Coordinates strictly between 0 and 1."""
        return self._points[start:stop]


class GivenPoints:
    """Points that something else chose.

    Parameters
    ----------
    points : (count, dimensions) array
    """

    def __init__(self, points: FloatArray) -> None:
        self._points = points
        self.count, self.dimensions = points.shape

    def between(self, start: int, stop: int) -> FloatArray:
        """As they were given."""
        return self._points[start:stop]


def fixed_points(drawn: Any) -> FloatArray:
    """Drawn numbers as an array whose zeros, if any, are half a step of the generator above 0."""
    points = np.array(drawn, dtype=np.float64)
    points[points == 0] = 2.0**-54
    return points


class Distribution(Protocol):
    """How likely an input's values are."""

    def quantile(self, probability: FloatArray) -> FloatArray:
        """Values below which the input lies with ``probability``, (n,), between 0 and 1."""
        ...


@dataclass(frozen=True)
class Uniform:
    """Every value between two is as likely.

    Parameters
    ----------
    low, high : float
        In the input's unit.
    """

    low: float
    high: float

    def quantile(self, probability: FloatArray) -> FloatArray:
        """Linear."""
        return self.low + (self.high - self.low) * probability


@dataclass(frozen=True)
class Normal:
    """The normal distribution, cut off at limits where they are given.

    Parameters
    ----------
    mean, standard_deviation : float
        Before it is cut off; ``standard_deviation > 0``.
    low, high : float
        Limits; infinite for none.
    """

    mean: float
    standard_deviation: float
    low: float = -math.inf
    high: float = math.inf

    def quantile(self, probability: FloatArray) -> FloatArray:
        """By the inverse of the normal distribution between the probabilities of the limits."""
        below, above = self._limits()
        inverse: FloatArray = _special().ndtri(below + (above - below) * probability)
        return self.mean + self.standard_deviation * inverse

    @property
    def share(self) -> float:
        """Probability between the limits."""
        below, above = self._limits()
        return above - below

    def _limits(self) -> tuple[float, float]:
        low = (self.low - self.mean) / self.standard_deviation
        high = (self.high - self.mean) / self.standard_deviation
        return _normal_probability(low), _normal_probability(high)


@dataclass(frozen=True)
class Lognormal:
    """The logarithm is normal; cut off at limits where they are given.

    Parameters
    ----------
    median : float
        Before it is cut off; above 0.
    log_standard_deviation : float
        Of the natural logarithm; above 0. exp(1.96 times it) is the factor up and down from the
        median that holds 95 %.
    low, high : float
        Limits; 0 and infinite for none.
    """

    median: float
    log_standard_deviation: float
    low: float = 0.0
    high: float = math.inf

    def quantile(self, probability: FloatArray) -> FloatArray:
        """The exponential of the normal quantile."""
        return np.exp(self._logarithm.quantile(probability))

    @property
    def share(self) -> float:
        """Probability between the limits."""
        return self._logarithm.share

    @property
    def _logarithm(self) -> Normal:
        low = math.log(self.low) if self.low > 0 else -math.inf
        high = math.log(self.high) if self.high > 0 else -math.inf
        return Normal(math.log(self.median), self.log_standard_deviation, low, high)


def _normal_probability(value: float) -> float:
    return math.erfc(-value / math.sqrt(2)) / 2


def _special() -> Any:
    return importlib.import_module("scipy.special")  # late: it costs a while, and has no stubs


def _qmc() -> Any:
    return importlib.import_module("scipy.stats").qmc  # late, as above: a second
