"""Length corrections of the mouth: the gas of the main pipe that swings with the branch.

Each is a length of main-pipe gas of the branch's bore, measured outward from the main pipe's inner
wall, in units of the branch's bore radius ``a``. The same in C: core/main_pipe.c.
"""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.closures import MouthModel

FLANGED = 0.8216
"""Infinite flange, low frequency. Common to the acoustics of pipes; value from memory."""

UNFLANGED = 0.6133
"""Unflanged pipe, low frequency, as printed. Levine & Schwinger, Phys. Rev. 73 (1948) 383."""


def side_branch_correction(radius_ratio: FloatArray) -> FloatArray:
    r"""Correction of a side branch on a round pipe, without flow, over the branch's radius.

    .. math:: \delta/a = 0.8216 - 0.0644\xi - 0.694\xi^2\ (\xi \le 0.4),\quad
              0.9326 - 0.6196\xi\ (\xi > 0.4)

    Parameters
    ----------
    radius_ratio : array, dimensionless
        ξ, branch bore over main-pipe bore. ``0 <= ξ <= 1``.

    Returns
    -------
    array, dimensionless
        Beyond ξ = 1, where no correction is known, its value at 1; the answer then carries the
        caution ``mouth_correction_range``.

    Valid for
    ---------
    A branch at a right angle, no main flow. Grazing flow lowers it.

    Check
    -----
    Within 0.008 of Lefebvre & Scavone's independent fit over 0..1.

    Source
    ------
    [Ji2005] J. Sound Vib. 283 (2005) 1180; coefficients as quoted by others.
    """
    ratio = np.minimum(radius_ratio, 1.0)
    narrow = 0.8216 - 0.0644 * ratio - 0.694 * ratio**2
    wide = 0.9326 - 0.6196 * ratio
    return np.where(ratio <= 0.4, narrow, wide)


def mouth_length(
    model: FloatArray,
    bore: FloatArray,
    main_bore: FloatArray,
    factor: FloatArray,
    fixed: FloatArray,
) -> FloatArray:
    """Mouth correction of each design.

    Parameters
    ----------
    model : (designs,) array of MouthModel
    bore, main_bore : (designs,) array, m
    factor : (designs,) array, dimensionless
        Multiplies the model's value.
    fixed : (designs,) array, m
        Replaces the model where it is not NaN.

    Returns
    -------
    (designs,) array, m
    """
    per_radius = np.where(
        model == MouthModel.SIDE_BRANCH,
        side_branch_correction(bore / main_bore),
        np.where(model == MouthModel.FLANGED, FLANGED, UNFLANGED),
    )
    return np.where(np.isnan(fixed), factor * per_radius * bore / 2, fixed)
