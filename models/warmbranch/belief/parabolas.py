"""What depends on uncertain unknowns, by parabolas along them.

A few well placed designs tell more than as many random draws would: each principal axis of what is
believed is moved to both sides, and each two of them together, all in one solution of the model.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray, IntArray
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.draws import standard_normal
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case

AXIS = 1.5
"""Standard deviations by which each axis is moved."""

COARSE_NODES = 33
"""Grid on which the designs are solved: coarser than the default, which moves all alike."""

DRAWS = 4096
"""Draws of the unknowns through the parabolas."""


@dataclass(frozen=True)
class Parabolas:
    r"""Where to solve a case for the parabolas of what is believed of it.

    .. math:: y = y_0 + \sum_i \left(a_i z_i + b_i z_i^2\right) + \sum_{i<j} c_{ij} z_i z_j

    with standard normal z along the principal axes of the calibration.

    Parameters
    ----------
    believed : Calibration
        Of what has an effect in the case.
    cases : Case
        One design a place, the first in the middle.
    """

    believed: Calibration
    cases: Case

    @staticmethod
    def around(given: Case, calibration: Calibration, *, pairs: bool = True) -> Parabolas:
        """Lay out the designs.

        Parameters
        ----------
        given : Case
            One design, as the user gives it: not yet :meth:`Calibration.applied_to`.
        calibration : Calibration
            What is believed: a prior, or what a fit learned.
        pairs : bool
            Whether any two axes are moved together; without, ``c`` is 0 and designs are few.
        """
        own = calibration.effective_in(given)
        axes = AXIS * np.eye(len(own.names))
        first, second = _pairs(len(own.names) if pairs else 0)
        both = (axes[first] + axes[second]) / math.sqrt(2)
        white = np.concatenate([np.zeros((1, len(axes))), axes, -axes, both])
        return Parabolas(own, with_unknowns(given, own.names, own.mean + white @ own.root.T))

    def draws(self, response: FloatArray) -> FloatArray:
        """``y − y_0`` of ``DRAWS`` equally likely draws.

        Parameters
        ----------
        response : (designs,) array
            ``y`` of each of ``cases``.
        """
        count = len(self.believed.names)
        if count == 0:
            return np.zeros(1)
        straight, curved = self._along(response)
        z = standard_normal(DRAWS, count)
        found: FloatArray = z @ straight + np.square(z) @ curved
        paired = response[1 + 2 * count :] - response[0]
        if len(paired) == 0:
            return found
        first, second = _pairs(count)
        alone = AXIS / math.sqrt(2) * (straight[first] + straight[second])
        alone += AXIS**2 / 2 * (curved[first] + curved[second])
        return found + (z[:, first] * z[:, second]) @ ((paired - alone) / (AXIS**2 / 2))

    def shares(self, response: FloatArray) -> FloatArray:
        """Share of the variance that would go if one unknown were known, (unknowns,).

        To first order; they sum to 1 where unknowns are independent.
        """
        straight, _ = self._along(response)
        root = self.believed.root
        total = float(straight @ straight)
        if total == 0:
            return np.zeros(len(straight))
        own = np.einsum("ij,ij->i", root, root)
        shares: FloatArray = np.square(root @ straight) / np.where(own > 0, own, 1.0) / total
        return shares

    def _along(self, response: FloatArray) -> tuple[FloatArray, FloatArray]:
        """``a`` and ``b``."""
        count = len(self.believed.names)
        up = response[1 : 1 + count] - response[0]
        down = response[1 + count : 1 + 2 * count] - response[0]
        return (up - down) / (2 * AXIS), (up + down) / (2 * AXIS**2)


def _pairs(count: int) -> tuple[IntArray, IntArray]:
    first, second = np.triu_indices(count, 1)
    return first, second
