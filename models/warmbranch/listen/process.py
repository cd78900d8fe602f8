"""Levels of orders as a Gaussian process (Rasmussen and Williams 2006).

What an order does over the speed, what the place does over frequency, what the recorder's gain
does at a moment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve, cholesky, solve_triangular
from scipy.linalg.lapack import dpotri
from scipy.special import logsumexp

from warmbranch.base.batch import BoolArray, IntArray, RealArray
from warmbranch.listen.cells import Cells
from warmbranch.listen.matern import matern
from warmbranch.listen.shapes import ENDS, Shape, heard_loss

ROUGHNESSES = (0.7, 1.3, 2.4)
"""Factors on every rough part, weighed by the data."""

CURVE = 0.02
"""Of the logarithm of the frequency: step of curves that are told."""

LOSS_SIZE, LOSS_LENGTH = 10.0, 0.06
"""dB, and of the logarithm of the frequency: how a loss of any form may go."""

TOGETHER = 12
"""Places that are weighed at once, as they take from much the same cells."""


@dataclass(frozen=True)
class HeardLoss:
    """What after lacks, over frequency, whatever its form.

    Parameters
    ----------
    frequency : (curve,) array, Hz
        Where orders were heard after.
    level : (curve,) array, dB
        By how much they are quieter there than the place and the orders' own levels have them; a
        level that all frequencies share is the recorder's.
    deviation : (curve,) array, dB
        Standard deviation. Without a recording before it is that of the cabin's own hills.
    """

    frequency: RealArray
    level: RealArray
    deviation: RealArray


PLACE = ((6.0, 0.3), (4.0, 0.08))
"""dB, and of the logarithm of the frequency: a place in a cabin, its smooth part and its rough."""


def _covariances(
    cells: Cells, recording: IntArray, after: BoolArray, moved: bool, gain_known: bool
) -> list[RealArray]:
    """Covariance of the cells for each of ``ROUGHNESSES``."""
    u, w = cells.log_speed, cells.log_frequency
    same_order = (cells.order[:, None] == cells.order[None, :]).astype(float)
    same_recording = (recording[:, None] == recording[None, :]).astype(float)
    same_side = (after[:, None] == after[None, :]).astype(float)
    moment = matern(u, u, 0.1)
    # An order's own level over the speed, and what differs from drive to drive.
    smooth = same_order * (100 + 16 * matern(u, u, 0.35)) + same_recording * (100 + same_order)
    rough = same_order * (2.25 * matern(u, u, 0.05) + 0.64 * same_recording * moment)
    # The recorder's gain, one for all orders at a moment.
    if not gain_known:
        smooth += same_recording * 4.0 * moment
    # The place, and the place that is another one.
    other = 1 + 0.8 * same_side if moved else 1.0
    smooth += other * PLACE[0][0] ** 2 * matern(w, w, PLACE[0][1])
    rough += other * PLACE[1][0] ** 2 * matern(w, w, PLACE[1][1])
    if not moved:
        rough += same_side * 0.49 * matern(w, w, 0.06)
    return [
        smooth + factor**2 * rough + np.diag(factor * np.square(cells.deviation))
        for factor in ROUGHNESSES
    ]


def _inverse(factor: RealArray) -> RealArray:
    """Inverse of a matrix whose lower Cholesky factor is given."""
    lower, failed = dpotri(factor, lower=1)
    if failed:
        raise np.linalg.LinAlgError(f"no inverse: {failed}")
    lower = np.tril(lower)
    return lower + np.tril(lower, -1).T


class LevelProcess:
    """The Gaussian process of one set of cells, for each roughness.

    Those after come last, by rising frequency: a dip takes from a stretch of them.
    """

    def __init__(
        self, cells: Cells, recording: IntArray, after: BoolArray, moved: bool, gain_known: bool
    ) -> None:
        self.cells = cells
        self.first = len(after) - int(np.count_nonzero(after))
        self.level = cells.level - cells.level.mean()
        self.factors = [
            cholesky(covariance, lower=True, check_finite=False)
            for covariance in _covariances(cells, recording, after, moved, gain_known)
        ]
        whites: list[RealArray] = [
            solve_triangular(factor, self.level, lower=True, check_finite=False)
            for factor in self.factors
        ]
        self.none: RealArray = np.array(
            [
                -0.5 * white @ white - np.sum(np.log(np.diag(factor)))
                for factor, white in zip(self.factors, whites, strict=True)
            ]
        )
        # Nothing drops before, so of what comes after the inverse given before is all it takes.
        last = slice(self.first, None)
        self.precisions = [_inverse(factor[last, last]) for factor in self.factors]
        self.pulls: list[RealArray] = [
            solve_triangular(factor[last, last], white[last], lower=True, trans=1)
            for factor, white in zip(self.factors, whites, strict=True)
        ]

    @property
    def weight(self) -> RealArray:
        """Log-probability of each roughness, were there no notch, (roughnesses,)."""
        return self.none - logsumexp(self.none)

    def drop(self, shape: Shape, places: RealArray, cells: slice | None = None) -> RealArray:
        """Drops of the cells after for resonances at places, (cells after, places), dB."""
        which = cells or slice(None)
        log_frequency = self.cells.log_frequency[self.first :][which]
        noise_share = self.cells.noise_share[self.first :][which]
        ratio = np.exp(log_frequency[:, None] - places[None, :])
        return heard_loss(shape, ratio, noise_share[:, None])

    def likelihood(self, places: RealArray, shapes: tuple[Shape, ...]) -> RealArray:
        """Log-likelihood over that of no notch, (roughnesses, places, shapes); places rise."""
        gained = np.empty((len(self.factors), len(places), len(shapes)))
        log_frequency = self.cells.log_frequency[self.first :]
        reach = max(ENDS / shape.narrowness for shape in shapes)
        for first in range(0, len(places), TOGETHER):
            some = places[first : first + TOGETHER]
            ends = some[[0, -1]] + np.log([max(1 - reach, 1e-9), 1 + reach])
            told = slice(*np.searchsorted(log_frequency, ends).tolist())
            drops = np.concatenate([self.drop(shape, some, told) for shape in shapes], axis=1)
            for place, (precision, pull) in enumerate(
                zip(self.precisions, self.pulls, strict=True)
            ):
                # A drop lowers the level: the residual is level + drop.
                bent = np.einsum("ij,ij->j", drops, precision[told, told] @ drops)
                gain = -(pull[told] @ drops) - 0.5 * bent
                gained[place, first : first + len(some)] = gain.reshape(len(shapes), -1).T
        return gained

    def loss(self, roughness: int) -> HeardLoss:
        """What after lacks over frequency: one more Gaussian process, in the cells after alone."""
        w = self.cells.log_frequency[self.first :]
        curve = np.arange(w[0], w[-1], CURVE)
        precision, pull = self.precisions[roughness], self.pulls[roughness]
        own = LOSS_SIZE**2 * matern(w, w, LOSS_LENGTH)
        across = LOSS_SIZE**2 * matern(curve, w, LOSS_LENGTH)
        # With prior D of the loss and what the cells tell, (P, pull): (1/D + P)⁻¹ is D (1 + P D)⁻¹.
        right = np.column_stack([pull, precision @ across.T])
        solved = np.linalg.solve(np.eye(len(w)) + precision @ own, right)
        left = LOSS_SIZE**2 - np.einsum("ij,ji->i", across, solved[:, 1:])
        return HeardLoss(np.exp(curve), -across @ solved[:, 0], np.sqrt(left))

    def common(self, curve: RealArray, drop: RealArray, roughness: int) -> RealArray:
        """Mean of the place's part over the logarithm of the frequency, dB."""
        level = self.level.copy()
        level[self.first :] += drop
        weights = np.asarray(cho_solve((self.factors[roughness], True), level), np.float64)
        part = np.zeros(len(curve))
        for (size, length), factor in zip(PLACE, (1, ROUGHNESSES[roughness]), strict=True):
            part += (factor * size) ** 2 * (
                matern(curve, self.cells.log_frequency, length) @ weights
            )
        return part
