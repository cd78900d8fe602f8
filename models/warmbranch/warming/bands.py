"""The wander of the resonance with its uncertainty, from a calibration."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.calibration import ENSEMBLE, Calibration, calibrated_ensemble
from warmbranch.belief.draws import quantiles
from warmbranch.belief.forecast import FIT_NODES
from warmbranch.belief.prediction import LEVELS
from warmbranch.case.case import Case
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up
from warmbranch.warming.storage import WrapHeat
from warmbranch.warming.wander import wander


def resonance_bands(
    given: Case,
    calibration: Calibration,
    drive: Drive,
    times: FloatArray,
    driven: FloatArray,
    wrap: WrapHeat | None,
) -> FloatArray | None:
    """Quantiles of the first resonance against time.

    Parameters
    ----------
    given : Case
        One design, as the user gives it: not yet :meth:`Calibration.applied_to`.
    calibration : Calibration
    drive : Drive
    times : (times,) array, s
    driven : (1,) array, Hz
    wrap : WrapHeat, optional

    Returns
    -------
    (times, levels) array, Hz, or None
        At ``prediction.LEVELS``, over the draws that have a resonance; None where at some time
        none has.
    """
    draws = calibrated_ensemble(given, calibration, ENSEMBLE)
    spread = warm_up(draws, drive, times, wrap=wrap, nodes=FIT_NODES)
    frequency = wander(spread, np.repeat(driven, ENSEMBLE)).frequency
    levels = np.empty((len(times), len(LEVELS)))
    for k in range(len(times)):
        known = frequency[np.isfinite(frequency[:, k]), k]
        if len(known) == 0:
            return None
        levels[k] = quantiles(known, np.full(len(known), 1 / len(known)), LEVELS)
    return levels
