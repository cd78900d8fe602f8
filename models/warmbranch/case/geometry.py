"""The branch as a shape: tube, centre-line, cap.

``x`` runs along the centre-line from the mouth (the main pipe's inner wall, ``x = 0``) to the
cap's inner face (``x = L``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import Batched, BoolArray, FloatArray
from warmbranch.base.errors import GeometryError

SHORTEST_IN_BORES = 3.0
"""Shortest branch, in bores, that the one-dimensional model describes."""

ROUNDING = 1e-9
"""Relative. A length short of a bound by no more is meant to lie there: three bores were
rounded, or came in another unit."""


class Tube(NamedTuple):
    """Outside diameter and wall thickness of a round tube, m."""

    outside_diameter: float
    wall_thickness: float

    @property
    def bore(self) -> float:
        """Inside diameter, m."""
        return self.outside_diameter - 2 * self.wall_thickness

    @property
    def wall_section(self) -> float:
        """Section of metal, m²."""
        return math.pi / 4 * (self.outside_diameter**2 - self.bore**2)


@dataclass(frozen=True)
class Piece:
    """One stretch of the centre-line: a straight, or a bend of constant radius.

    Parameters
    ----------
    length : float, m
        Along the centre-line. ``> 0``.
    bend_radius : float, m
        Centre-line radius of a bend; infinite for a straight.
    tube : Tube, optional
        Of a size of its own, where it is not the branch's.
    """

    length: float
    bend_radius: float = math.inf
    tube: Tube | None = None

    @classmethod
    def bend(cls, angle: float, radius: float, tube: Tube | None = None) -> Piece:
        """A bend of ``angle`` (rad) at centre-line ``radius`` (m)."""
        return cls(length=angle * radius, bend_radius=radius, tube=tube)


@dataclass(frozen=True)
class Branch(Batched):
    """A batch of closed side branches of round tube.

    Parameters
    ----------
    outside_diameter, wall_thickness, cap_thickness : (designs,) array, m
        The tube of pieces that have none of their own.
    pieces : tuple of tuples of Piece
        The centre-line of each design, from mouth to cap.
    rise : (designs,) array, rad
        Angle by which the branch climbs from mouth to cap; negative when it falls.
    lean : (designs,) array, rad
        Angle by which it leans from square to the main pipe, along it; positive downstream.
    """

    outside_diameter: FloatArray
    wall_thickness: FloatArray
    cap_thickness: FloatArray
    pieces: tuple[tuple[Piece, ...], ...]
    rise: FloatArray
    lean: FloatArray = field(default_factory=lambda: np.zeros(1))

    def __post_init__(self) -> None:
        super().__post_init__()
        checked: set[tuple[int, float, float]] = set()
        for i, pieces in enumerate(self.pieces):
            outside, wall = float(self.outside_diameter[i]), float(self.wall_thickness[i])
            # Many draws of one branch share one tuple: look at it once.
            if (id(pieces), outside, wall) not in checked:
                checked.add((id(pieces), outside, wall))
                _check_tube(outside, wall)
                _check_centreline(pieces, Tube(outside, wall))

    @cached_property
    def length(self) -> FloatArray:
        """Centre-line length, m."""
        known: dict[int, float] = {}
        for pieces in self.pieces:
            if id(pieces) not in known:
                known[id(pieces)] = math.fsum(piece.length for piece in pieces)
        return np.array([known[id(pieces)] for pieces in self.pieces])

    @cached_property
    def stepped(self) -> BoolArray:
        """Whether any piece is of another tube than the branch's own, (designs,)."""
        own = [(id(p), o, w) for p, o, w in zip(self.pieces, *self._own, strict=True)]
        known = dict.fromkeys(own, False)
        for i, key in enumerate(own):
            if not known[key]:
                given = Tube(key[1], key[2])
                known[key] = any(piece.tube not in (None, given) for piece in self.pieces[i])
        return np.array([known[key] for key in own])

    @property
    def _own(self) -> tuple[list[float], list[float]]:
        return self.outside_diameter.tolist(), self.wall_thickness.tolist()

    @cached_property
    def tubes(self) -> tuple[FloatArray, FloatArray]:
        """Outside diameter and bore of each piece, (designs, most pieces), m.

        Where there is no piece any more, those of the last.
        """
        most = max(len(pieces) for pieces in self.pieces)
        if not self.stepped.any():
            outside = np.repeat(self.outside_diameter[:, None], most, axis=1)
            return outside, outside - 2 * self.wall_thickness[:, None]
        outside, bore = np.empty((2, len(self.pieces), most))
        for i, pieces in enumerate(self.pieces):
            own = Tube(float(self.outside_diameter[i]), float(self.wall_thickness[i]))
            laid = [piece.tube or own for piece in pieces]
            laid += laid[-1:] * (most - len(laid))
            outside[i] = [tube.outside_diameter for tube in laid]
            bore[i] = [tube.bore for tube in laid]
        return outside, bore

    def _at(self, piece: int) -> tuple[FloatArray, FloatArray]:
        """Outside diameter and bore of the first or the last piece, (designs,), m."""
        if not self.stepped.any():
            return self.outside_diameter, self.outside_diameter - 2 * self.wall_thickness
        outside, bore = self.tubes
        return outside[:, piece], bore[:, piece]

    @cached_property
    def laid(self) -> tuple[FloatArray, FloatArray]:
        """Lengths and bend radii of the pieces, each (designs, most pieces), m.

        A design of fewer pieces than others is filled up with straights of no length.
        """
        count = np.array([len(pieces) for pieces in self.pieces])
        shape = (len(count), int(count.max()))
        lengths, radii = np.zeros(shape), np.full(shape, np.inf)
        there = np.arange(shape[1]) < count[:, None]
        lengths[there] = [piece.length for pieces in self.pieces for piece in pieces]
        radii[there] = [piece.bend_radius for pieces in self.pieces for piece in pieces]
        return lengths, radii

    def take(self, index: NDArray[np.intp] | NDArray[np.bool_] | slice) -> Branch:
        """Select designs, with what is known of their centre-lines."""
        part = super().take(index)
        if part is not self:
            known = self.__dict__
            if "length" in known:
                part.__dict__["length"] = self.length[index]
            most = max((len(pieces) for pieces in part.pieces), default=0)
            for each in ("laid", "tubes"):  # as wide as the longest of those that are left
                if each in known:
                    part.__dict__[each] = tuple(value[index][:, :most] for value in known[each])
        return part

    @cached_property
    def bore(self) -> FloatArray:
        """Inside diameter at the mouth, m."""
        return self._at(0)[1]

    @cached_property
    def bore_area(self) -> FloatArray:
        """Section open to the gas at the mouth, m²."""
        return np.pi / 4 * self.bore**2

    @property
    def outside_at_mouth(self) -> FloatArray:
        """Outside diameter at the mouth, m."""
        return self._at(0)[0]

    @property
    def at_cap(self) -> tuple[FloatArray, FloatArray]:
        """Outside diameter and bore at the cap, m."""
        return self._at(-1)

    @property
    def wall_area(self) -> FloatArray:
        """Section of metal at the mouth, m²."""
        return np.pi / 4 * self.outside_at_mouth**2 - self.bore_area

    @property
    def bore_perimeter(self) -> FloatArray:
        """Wetted perimeter at the mouth, m."""
        return np.pi * self.bore

    def with_length(self, length: FloatArray) -> Branch:
        """The same branches with the piece at the cap made longer or shorter.

        Pieces beyond the new cap are dropped, as a saw would; when a branch grows, its last
        piece grows if it is a straight, else a straight is added behind it.
        """
        pieces = tuple(
            _resize(own, float(new)) for own, new in zip(self.pieces, length, strict=True)
        )
        return replace(self, pieces=pieces)


def bend_inertance_ratio(bore_radius: FloatArray, bend_radius: FloatArray) -> FloatArray:
    r"""Inertance of a bend over that of a straight tube of the same centre-line length.

    .. math:: n = \frac{B^2/2}{1 - \sqrt{1 - B^2}},\quad B = \text{bore radius}/\text{bend radius}

    Parameters
    ----------
    bore_radius, bend_radius : array, m
        ``bend_radius`` may be infinite (straight); it must exceed ``bore_radius``.

    Returns
    -------
    array, dimensionless
        At most 1; 1 for a straight.

    Valid for
    ---------
    Wavelength much longer than the bend. An upper bound of the effect for short bends.

    Check
    -----
    Exact: ``A / (R ∫ dA / r)`` by quadrature, in tests/models/case/test_geometry.py.

    Source
    ------
    [KeefeBenade1983], formula from memory.
    """
    squared = np.square(bore_radius / bend_radius)
    # B²/2 / (1 − √(1−B²)) multiplied out by its conjugate: no cancellation as B → 0.
    return (1 + np.sqrt(1 - squared)) / 2


def _check_tube(outside_diameter: float, wall_thickness: float) -> None:
    if not outside_diameter > 0:
        raise GeometryError(
            "A tube needs a size above zero.",
            field="branch.outside_diameter",
            value=outside_diameter,
            unit="m",
            remedy="Give the outside diameter of the tube.",
        )
    if not 0 < wall_thickness < outside_diameter / 2:
        raise GeometryError(
            "The wall must be thicker than nothing and leave a bore.",
            field="branch.wall_thickness",
            value=wall_thickness,
            unit="m",
            remedy=f"Give a wall between 0 and {outside_diameter / 2:g} m.",
        )


def _check_centreline(pieces: tuple[Piece, ...], own: Tube) -> None:
    if not pieces:
        raise GeometryError(
            "The centre-line has no pieces.",
            field="branch.centreline",
            value="[]",
            unit="m",
            remedy="Give at least one straight or bend.",
        )
    for piece in pieces:
        if not piece.length > 0:
            raise GeometryError(
                "Every piece of the centre-line needs a length above zero.",
                field="branch.centreline",
                value=piece.length,
                unit="m",
                remedy="Leave the piece out, or give it a length.",
            )
        if piece.tube is not None:
            _check_tube(*piece.tube)
        outside_diameter = (piece.tube or own).outside_diameter
        if piece.bend_radius <= outside_diameter / 2:
            raise GeometryError(
                "The bend is tighter than the tube.",
                field="branch.centreline",
                value=piece.bend_radius,
                unit="m",
                remedy=f"Give a centre-line radius above {outside_diameter / 2:g} m.",
            )
    length, bore = math.fsum(piece.length for piece in pieces), (pieces[0].tube or own).bore
    if length < SHORTEST_IN_BORES * bore * (1 - ROUNDING):
        raise GeometryError(
            "The branch is too short for a one-dimensional model.",
            field="branch.centreline",
            value=length,
            unit="m",
            remedy=f"Give at least three bores, {SHORTEST_IN_BORES * bore:g} m.",
        )


def _resize(pieces: tuple[Piece, ...], length: float) -> tuple[Piece, ...]:
    kept: list[Piece] = []
    left = length
    for piece in pieces:
        if left <= 0:
            return tuple(kept)
        kept.append(replace(piece, length=min(piece.length, left)))
        left -= piece.length
    if left > 0:
        last = kept[-1]
        if math.isinf(last.bend_radius):
            kept[-1] = replace(last, length=last.length + left)
        else:
            kept.append(Piece(left, tube=last.tube))
    return tuple(kept)


def inertance_ratio_between(branch: Branch, position: FloatArray) -> FloatArray:
    """Mean inertance ratio of each interval between nodes.

    Parameters
    ----------
    branch : Branch
    position : (designs, nodes) array, m

    Returns
    -------
    (designs, nodes − 1) array, dimensionless
        1 in straights, below 1 in bends; intervals that a piece's end falls into get the mean.
    """
    ratio = np.ones((position.shape[0], position.shape[1] - 1))
    bent = np.flatnonzero(np.isfinite(branch.laid[1]).any(axis=1))
    if len(bent) == 0:
        return ratio
    # What bends take from the inertance between the mouth and each node, piece after piece.
    lengths, radii = (value[bent].T for value in branch.laid)
    bores = branch.tubes[1][bent].T if branch.stepped.any() else branch.bore[bent]
    own = bend_inertance_ratio(bores / 2, radii)
    start = np.cumsum(lengths, axis=0) - lengths
    x = position[bent]
    missing = np.zeros_like(x)
    for row in np.flatnonzero((own < 1).any(axis=1)):
        within = np.clip(x - start[row][:, None], 0, lengths[row][:, None])
        missing += (1 - own[row])[:, None] * within
    ratio[bent] -= np.diff(missing, axis=1) / np.diff(x, axis=1)
    return ratio
