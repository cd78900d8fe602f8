"""Weighted draws: where they came from, how much each counts, and how many that makes."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.draws import standard_normal


class Density(Protocol):
    """Where draws came from."""

    def log_density(self, white: FloatArray) -> FloatArray:
        """Logarithm of the density, (draws,), but for a constant that all share."""
        ...


class MultivariateNormal:
    """A normal distribution."""

    def __init__(self, centre: FloatArray, covariance: FloatArray) -> None:
        self._centre = centre
        self._root: FloatArray = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
        self._inverse: FloatArray = np.asarray(np.linalg.inv(self._root), dtype=np.float64)
        self._log_size = float(np.sum(np.log(np.diag(self._root))))

    def draws(self, size: int, seed: int) -> FloatArray:
        """The same ones for the same seed, (size, unknowns)."""
        return self._centre + standard_normal(size, len(self._centre), seed) @ self._root.T

    def log_density(self, white: FloatArray) -> FloatArray:
        """See ``Density``."""
        scaled = (white - self._centre) @ self._inverse.T
        return -np.einsum("ij,ij->i", scaled, scaled) / 2 - self._log_size


class Mixture:
    """Draws of several densities, and the density of all together at each.

    Weights by that are the balance heuristic of Veach and Guibas (SIGGRAPH 1995).
    """

    def __init__(self, dimensions: int) -> None:
        self.white: FloatArray = np.empty((0, dimensions))
        self.log_density: FloatArray = np.empty(0)
        self.sources: list[tuple[int, Density]] = []

    def add(self, white: FloatArray, size: int, source: Density) -> None:
        """Take in different draws of a source; ``size`` is how many were drawn in all."""
        before = np.log(size) + source.log_density(self.white)
        self.sources.append((size, source))
        parts = [np.log(n) + one.log_density(white) for n, one in self.sources]
        before = np.logaddexp(self.log_density, before)
        self.log_density = np.concatenate([before, np.logaddexp.reduce(parts, axis=0)])
        self.white = np.concatenate([self.white, white])


def effective(weights: FloatArray) -> float:
    """Kish's effective number of draws of weights that sum to 1."""
    return float(1 / np.sum(weights**2))


def moments(white: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weighted mean and covariance."""
    mean = weights @ white
    away = white - mean
    return mean, (away * weights[:, None]).T @ away


def normalised(log_weights: FloatArray) -> FloatArray:
    """Weights that sum to 1, from their logarithms but for a constant."""
    weights: FloatArray = np.exp(log_weights - np.max(log_weights))
    return weights / np.sum(weights)


def evened(log_weights: FloatArray, least: float) -> FloatArray:
    """Weights to the highest power up to 1 that leaves ``least`` effective draws.

    Draws without weight stay so; of the others, nine tenths is the most that is asked.
    """
    least = min(least, 0.9 * float(np.sum(np.isfinite(log_weights))))
    power = 1.0
    while effective(normalised(power * log_weights)) < least:
        power *= 0.9
    return normalised(power * log_weights)
