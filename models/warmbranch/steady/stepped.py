"""Bends and steps of the bore as the acoustics wants them."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.bores import (
    BoreSteps,
    area_ratio_between,
    inverse_area_ratio_between,
    steps_of,
)
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


def added_by_steps(branch: Branch) -> FloatArray | None:
    """What swings with the step behind each piece, as a length of the mouth's tube, m.

    (designs, most pieces), 0 behind the last; None where all are of one tube.
    """
    if not branch.stepped.any():
        return None
    found = np.zeros_like(branch.laid[0])
    found[:, :-1] = _swinging(steps_of(branch), branch.bore)
    return found


def _swinging(steps: BoreSteps, mouth: FloatArray) -> FloatArray:
    narrow, wide = np.minimum(*steps.bore), np.maximum(*steps.bore)
    return step_length(narrow / 2, wide / 2) * np.square(mouth[:, None] / narrow)


def _of_steps(branch: Branch, position: FloatArray) -> FloatArray:
    """What the steps add to the ratio of the intervals beside them."""
    found = np.zeros((len(position), position.shape[1] - 1))
    steps, width = steps_of(branch), np.diff(position, axis=1)
    rows = np.arange(len(position))
    for place, added in zip(steps.place.T, _swinging(steps, branch.bore).T, strict=True):
        inside = (place > 0) & (place < position[:, -1])
        nearest = np.argmin(np.abs(position - place[:, None]), axis=1)
        right = np.minimum(nearest, width.shape[1] - 1)
        for side in (np.maximum(nearest - 1, 0), right):
            found[rows, side] += np.where(inside, added / 2, 0.0) / width[rows, side]
    return found
