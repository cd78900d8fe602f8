"""Pieces of other tubes along a branch: what is steady within a piece, between any two places.

Everything here is exact for a tube whose size changes at a place; the rings that close such a step
stand square to the centre-line. The same in C: core/pieces.c.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.case.geometry import Branch


class BoreSteps(NamedTuple):
    """Where the tube changes, each (designs, most pieces − 1), and from what to what.

    Parameters
    ----------
    place : array, m
        From the mouth.
    outside, bore : two arrays each, m
        Before and beyond; alike where nothing changes.
    """

    place: FloatArray
    outside: tuple[FloatArray, FloatArray]
    bore: tuple[FloatArray, FloatArray]

    @property
    def changes(self) -> BoolArray:
        """Where something changes."""
        return (self.bore[0] != self.bore[1]) | (self.outside[0] != self.outside[1])


def steps_of(branch: Branch) -> BoreSteps:
    """The steps of each design."""
    lengths, (outside, bore) = branch.laid[0], branch.tubes
    return BoreSteps(
        np.cumsum(lengths, axis=1)[:, :-1],
        (outside[:, :-1], outside[:, 1:]),
        (bore[:, :-1], bore[:, 1:]),
    )


def summed(branch: Branch, per_piece: FloatArray, position: FloatArray) -> FloatArray:
    """Integral from the mouth of what is steady within a piece.

    Parameters
    ----------
    branch : Branch
    per_piece : (designs, most pieces) array
    position : (designs, n) array, m
        The last piece goes on beyond the cap.

    Returns
    -------
    (designs, n) array
    """
    lengths = branch.laid[0]
    start = np.cumsum(lengths, axis=1) - lengths
    last = np.array([len(pieces) for pieces in branch.pieces]) - 1
    total = np.zeros_like(position)
    for place in range(lengths.shape[1]):
        longest = np.where(place < last, lengths[:, place], np.where(place == last, np.inf, 0.0))
        within = np.clip(position - start[:, place][:, None], 0.0, longest[:, None])
        total += per_piece[:, place][:, None] * within
    return total


def means_between(branch: Branch, per_piece: FloatArray, position: FloatArray) -> FloatArray:
    """Means of what is steady within a piece over the intervals between nodes.

    ``position`` (designs, nodes), m; the result is (designs, nodes − 1).
    """
    return np.diff(summed(branch, per_piece, position), axis=1) / np.diff(position, axis=1)


def area_ratio_between(branch: Branch, position: FloatArray) -> FloatArray:
    """Section open to the gas over that at the mouth, mean of each interval between nodes."""
    bore = branch.tubes[1]
    return means_between(branch, np.square(bore / bore[:, :1]), position)


def inverse_area_ratio_between(branch: Branch, position: FloatArray) -> FloatArray:
    """The mean of one over it, as inertance and conduction want it."""
    bore = branch.tubes[1]
    return means_between(branch, np.square(bore[:, :1] / bore), position)


def evened(branch: Branch, position: FloatArray) -> FloatArray:
    """Positions as they would be in a tube of the mouth's bore, as many bores from the mouth, m."""
    if not branch.stepped.any():
        return position
    bore = branch.tubes[1]
    return summed(branch, bore[:, :1] / bore, position)


def aligned(branch: Branch, position: FloatArray, edges: int) -> FloatArray:
    """The same nodes, drawn aside so that every step of the tube falls on one of ``edges`` parts.

    Parameters
    ----------
    branch : Branch
    position : (designs, nodes) array, m
        ``nodes − 1`` a multiple of ``edges``; else nothing is moved.
    edges : int
        Even parts of the nodes' numbers.

    Returns
    -------
    (designs, nodes) array, m
        Strictly rising, from the same mouth to the same cap.
    """
    count = position.shape[1] - 1
    if count % edges or not branch.stepped.any():
        return position
    every = count // edges
    moved = position.copy()
    found = steps_of(branch)
    changes = found.changes
    for i in np.flatnonzero(branch.stepped):
        length = position[i, -1]
        places = found.place[i][changes[i]]
        places = np.unique(places[(places > 0) & (places < length)])
        if len(places) == 0 or len(places) >= edges:
            continue
        wanted = np.interp(places, position[i, ::every], np.arange(edges + 1.0))
        chosen = _apart(np.rint(wanted).astype(int), edges)
        knots = np.concatenate([[0.0], position[i, chosen * every], [length]])
        moved[i] = np.interp(position[i], knots, np.concatenate([[0.0], places, [length]]))
    return moved


def stretched(branch: Branch, position: FloatArray, length: FloatArray) -> FloatArray:
    """Nodes of branches that are made longer at the cap: what lies before the last step stays.

    ``position`` (designs, nodes), m, of the branches as they are; ``length`` (designs,), m, new.
    """
    old = position[:, -1:]
    if not branch.stepped.any():
        return position * (length[:, None] / old)
    steps = steps_of(branch)
    last = np.where(steps.changes & (steps.place < old), steps.place, 0.0).max(axis=1, initial=0.0)
    share = np.clip((position - last[:, None]) / (old - last[:, None]), 0.0, 1.0)
    return position + (length[:, None] - old) * share


def _apart(wanted: np.ndarray, edges: int) -> np.ndarray:
    """Whole numbers near those wanted, rising, from 1 to ``edges − 1``, no two alike."""
    count = len(wanted)
    chosen = np.clip(wanted, 1 + np.arange(count), edges - count + np.arange(count))
    for k in range(1, count):
        chosen[k] = max(chosen[k], chosen[k - 1] + 1)
    return chosen
