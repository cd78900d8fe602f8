"""Calibrations between the request and the physics."""

from __future__ import annotations

import numpy as np

from warmbranch.belief.calibration import Calibration
from warmbranch_service.case import calibration as schema
from warmbranch_service.contract.rounding import digits
from warmbranch_service.version import MODEL_VERSION

DIGITS = 8
"""Significant digits of a written calibration: far more than anything was learned to."""


def to_physics(given: schema.Calibration) -> Calibration:
    """The calibration of a request.

    Raises
    ------
    InputError
        If it is none.
    """
    size = len(given.unknowns)
    return Calibration(
        names=tuple(given.unknowns),
        mean=np.array(given.mean, dtype=np.float64),
        covariance=np.array(given.covariance, dtype=np.float64).reshape(size, size),
    )


def to_answer(found: Calibration) -> schema.Calibration:
    """A calibration as it leaves."""
    return schema.Calibration(
        version=schema.VERSION,
        model_version=MODEL_VERSION,
        unknowns=list(found.names),
        mean=[digits(value, DIGITS) for value in found.mean],
        covariance=[[digits(value, DIGITS) for value in row] for row in found.covariance],
    )
