"""Covariance of curves that are smooth, but not more than levels of sound are."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import RealArray


def matern(x: RealArray, y: RealArray, length: float) -> RealArray:
    """Matérn's covariance of smoothness 3/2 and unit variance, (x, y).

    Source
    ------
    Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), eq. 4.17.
    """
    distance = np.sqrt(3) * np.abs(x[:, None] - y[None, :]) / length
    return (1 + distance) * np.exp(-distance)
