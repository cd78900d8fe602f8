"""Bends and steps of the bore as the acoustics wants them."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.bores import area_ratio_between, inverse_area_ratio_between, steps_of
from warmbranch.case.geometry import Branch, inertance_ratio_between
from warmbranch.sound.step import step_length


def bore_ratios(branch: Branch, position: FloatArray) -> tuple[FloatArray, FloatArray | None]:
    """Inertance and section of each interval between nodes over those of a straight tube.

    Parameters
    ----------
    branch : Branch
    position : (designs, nodes) array, m

    Returns
    -------
    inertance_ratio : (designs, nodes − 1) array, dimensionless
        Over a tube of the mouth's bore; with the gas that swings with a step, half of it to either
        side.
    area_ratio : (designs, nodes − 1) array, dimensionless
        Section over that at the mouth; None where all are of one tube.
    """
    ratio = inertance_ratio_between(branch, position)
    if not branch.stepped.any():
        return ratio, None
    ratio = ratio * inverse_area_ratio_between(branch, position)
    return ratio + _of_steps(branch, position), area_ratio_between(branch, position)


def _of_steps(branch: Branch, position: FloatArray) -> FloatArray:
    """What the steps add to the ratio of the intervals beside them."""
    found = np.zeros((len(position), position.shape[1] - 1))
    steps, width = steps_of(branch), np.diff(position, axis=1)
    mouth, rows = branch.bore, np.arange(len(position))
    for k, place in enumerate(steps.place.T):
        before, beyond = (bore[:, k] for bore in steps.bore)
        narrow, wide = np.minimum(before, beyond), np.maximum(before, beyond)
        # A length of the narrow tube, as a length of the mouth's.
        added = step_length(narrow / 2, wide / 2) * np.square(mouth / narrow)
        inside = (place > 0) & (place < position[:, -1])
        nearest = np.argmin(np.abs(position - place[:, None]), axis=1)
        right = np.minimum(nearest, width.shape[1] - 1)
        for side in (np.maximum(nearest - 1, 0), right):
            found[rows, side] += np.where(inside, added / 2, 0.0) / width[rows, side]
    return found
