"""A quadratic stand-in for the model near a set of unknowns, to choose draws by.

It never answers: draws that it proposes are solved and weighed with the model itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import FloatArray

RIDGE = 1e-3
"""Pull of the curvatures towards zero, over the weight of all draws together."""


@dataclass(frozen=True)
class Emulator:
    """Quadratics in scaled coordinates, ``inverse (white − centre)``.

    Parameters
    ----------
    centre : (unknowns,) array
    inverse : (unknowns, unknowns) array
        Of the lower triangular root of the covariance that scales.
    coefficients : (features, answers) array
    """

    centre: FloatArray
    inverse: FloatArray
    coefficients: FloatArray

    @classmethod
    def fitted(
        cls, centre: FloatArray, covariance: FloatArray, white: FloatArray, answers: FloatArray
    ) -> Emulator:
        """Fit to solved draws, near ones first.

        Parameters
        ----------
        centre : (unknowns,) array
        covariance : (unknowns, unknowns) array
            Of the region that matters.
        white : (draws, unknowns) array
        answers : (draws, answers) array
            Finite.
        """
        root = np.linalg.cholesky(covariance)
        inverse: FloatArray = np.asarray(np.linalg.inv(root), dtype=np.float64)
        scaled = _scaled(white, centre, inverse)
        # As probable in twice the region, so that the fit is best where most draws will be.
        weight = np.exp(-np.sum(scaled**2, axis=1) / 8)
        features = _features(scaled)
        weighted = features.T * (weight / np.sum(weight))
        ridge = np.full(features.shape[1], RIDGE)
        ridge[: len(centre) + 1] = 1e-12  # rounding's worth for the straight part
        normal = weighted @ features + np.diag(ridge)
        fitted = np.asarray(np.linalg.solve(normal, weighted @ answers), dtype=np.float64)
        return cls(centre, inverse, fitted)

    def scaled(self, white: FloatArray) -> FloatArray:
        """Scaled coordinates, (draws, unknowns)."""
        return _scaled(white, self.centre, self.inverse)

    def answers(self, white: FloatArray) -> FloatArray:
        """Stand-ins for the answers, (draws, answers)."""
        return self.at_scaled(self.scaled(white))

    def at_scaled(self, scaled: FloatArray) -> FloatArray:
        """The same from scaled coordinates."""
        return _features(scaled) @ self.coefficients

    def slopes(self, white: FloatArray) -> FloatArray:
        """Slopes (answers, unknowns) at one set, (unknowns,)."""
        scaled = _scaled(white[None], self.centre, self.inverse)[0]
        size = len(scaled)
        first, second = _pairs(size)
        by_scaled = self.coefficients[1 : size + 1].T
        curved = np.zeros((len(by_scaled), size, size))
        curved[:, first, second] = self.coefficients[size + 1 :].T
        by_scaled = by_scaled + (curved + curved.transpose(0, 2, 1)) @ scaled
        return by_scaled @ self.inverse

    def distance(self, white: FloatArray) -> FloatArray:
        """Squared distance from the centre, scaled, (draws,)."""
        return np.sum(self.scaled(white) ** 2, axis=1)


def _scaled(white: FloatArray, centre: FloatArray, inverse: FloatArray) -> FloatArray:
    return (white - centre) @ inverse.T


def _features(scaled: FloatArray) -> FloatArray:
    """1, each coordinate, each product of two."""
    draws, size = scaled.shape
    # A feature a row while they are made, so that each is made in one go.
    rows = np.empty((1 + size + size * (size + 1) // 2, draws))
    rows[0], rows[1 : size + 1] = 1.0, scaled.T
    start = size + 1
    for i in range(size):
        np.multiply(rows[i + 1], rows[i + 1 : size + 1], out=rows[start : start + size - i])
        start += size - i
    return rows.T


@lru_cache(maxsize=64)
def _pairs(size: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    return np.triu_indices(size)
