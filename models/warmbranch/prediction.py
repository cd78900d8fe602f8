"""The first resonance with its uncertainty, from a calibration."""

from __future__ import annotations

import numpy as np

from warmbranch.batch import FloatArray
from warmbranch.calibration import ENSEMBLE, Calibration
from warmbranch.case import Case
from warmbranch.draws import quantiles
from warmbranch.forecast import Forecaster

LEVELS = np.array([0.05, 0.25, 0.5, 0.75, 0.95])
"""Ends of the 90 % and 50 % intervals, and the median."""


def resonance_levels(case: Case, calibration: Calibration, size: int = ENSEMBLE) -> FloatArray:
    """First resonance at ``LEVELS``.

    Parameters
    ----------
    case : Case
        One design, as the user gives it: not yet with the calibration's means.
    calibration : Calibration
    size : int
        Draws.

    Returns
    -------
    (levels,) array, Hz
        Empty where no draw has a resonance.
    """
    own = calibration.effective_in(case)
    forecast = Forecaster(case, own.names, case.branch.length).at(own.draws(size))
    found = forecast.frequency[~np.isnan(forecast.frequency)]
    if len(found) == 0:
        return np.empty(0)
    return quantiles(found, np.full(len(found), 1 / len(found)), LEVELS)
