"""The branch in space: its centre-line from bends and twists, and the room it takes.

Axes: x away from the main pipe, y along it, z up. The mouth is at the origin. The branch leaves
along x, tilted upward by its rise. The first bend, untwisted, turns towards +y; a twist turns the
plane of a bend about the tube, right-handed seen along the way from mouth to cap, against the bend
before it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.geometry import Piece

ARC_STEP = math.radians(1.0)
"""Of the points along a bend: the envelope is then short by at most 4e-5 of the bend's radius."""


STEPS_A_RADIUS = 2
"""Points along the centre-line, in a radius of the tube, between which crossings are looked for."""


@dataclass(frozen=True)
class Pipework:
    """A centre-line with its twists.

    Parameters
    ----------
    pieces : tuple of Piece
        From mouth to cap.
    twists : tuple of float, rad
        One a piece; of no effect for straights.
    """

    pieces: tuple[Piece, ...]
    twists: tuple[float, ...]

    @property
    def length(self) -> float:
        """Along the centre-line, m."""
        return math.fsum(piece.length for piece in self.pieces)

    @property
    def bends(self) -> int:
        """How many bends there are."""
        return sum(math.isfinite(piece.bend_radius) for piece in self.pieces)

    def resized(self, pieces: tuple[Piece, ...]) -> Pipework:
        """The same twists on pieces that were cut off or added to at the cap."""
        added = max(len(pieces) - len(self.twists), 0)
        return Pipework(pieces, (self.twists + (0.0,) * added)[: len(pieces)])


@dataclass(frozen=True)
class Envelope:
    """The box that a branch just fits into, m, mouth at the origin.

    Parameters
    ----------
    low, high : (3,) array, m
        Along x, y, z.
    """

    low: FloatArray
    high: FloatArray

    @property
    def depth(self) -> float:
        """Away from the main pipe."""
        return float(self.high[0] - self.low[0])

    @property
    def width(self) -> float:
        """Along the main pipe."""
        return float(self.high[1] - self.low[1])

    @property
    def height(self) -> float:
        """Upward."""
        return float(self.high[2] - self.low[2])


@dataclass(frozen=True)
class Space:
    """Room for a branch, m; the mouth may be anywhere in its wall at the main pipe."""

    width: float
    depth: float
    height: float

    def holds(self, envelope: Envelope) -> bool:
        """Whether a branch of that envelope fits in, as it is turned."""
        hair = 1e-9  # m, rounding
        return (
            envelope.width <= self.width + hair
            and envelope.depth <= self.depth + hair
            and envelope.height <= self.height + hair
        )


@dataclass(frozen=True)
class Outline:
    """A centre-line in space.

    Parameters
    ----------
    along : (n,) array, m
        From the mouth, along the centre-line.
    points : (n, 3) array, m
    tangents : (n, 3) array, dimensionless
        Unit vectors towards the cap.
    radii : (n − 1,) array, m
        Outer radius of the tube between two points.
    cap_thickness : float, m
    """

    along: FloatArray
    points: FloatArray
    tangents: FloatArray
    radii: FloatArray
    cap_thickness: float

    @property
    def radius(self) -> float:
        """Outer radius of the widest tube, m."""
        return float(self.radii.max())

    @cached_property
    def envelope(self) -> Envelope:
        """Box around the tube and its cap.

        A disc of radius r across a tangent t reaches r √(1 − t_i²) to either side along axis i.
        """
        end = self.points[-1] + self.cap_thickness * self.tangents[-1]
        points = np.concatenate([self.points, end[None]])
        tangents = np.concatenate([self.tangents, self.tangents[-1:]])
        ends = np.concatenate([self.radii[:1], self.radii, self.radii[-1:]])
        widest = np.concatenate([np.maximum(ends[1:], ends[:-1]), self.radii[-1:]])
        reach = widest[:, None] * np.sqrt(np.maximum(1 - np.square(tangents), 0.0))
        return Envelope((points - reach).min(axis=0), (points + reach).max(axis=0))

    @cached_property
    def middle(self) -> FloatArray:
        """Centre of mass of the centre-line, (3,), m."""
        steps = np.diff(self.along)[:, None]
        halves = (self.points[1:] + self.points[:-1]) / 2
        middle: FloatArray = np.sum(halves * steps, axis=0) / self.along[-1]
        return middle

    @cached_property
    def crosses_itself(self) -> bool:
        """Whether two stretches of the tube are in each other's way.

        Stretches less than π diameters apart along the centre-line are not compared: they are
        neighbours in a bend, and no bend that a tube can make brings them together.
        """
        total = float(self.along[-1])
        even = np.linspace(0.0, total, 1 + math.ceil(STEPS_A_RADIUS * total / self.radius))
        points = np.empty((len(even), 3))
        for axis in range(3):
            points[:, axis] = np.interp(even, self.along, self.points[:, axis])
        apart = np.linalg.norm(points[:, None] - points[None], axis=2)
        far = np.abs(even[:, None] - even[None]) >= 2 * math.pi * self.radius
        return bool(np.any(apart[far] < 2 * self.radius))

    @property
    def falls(self) -> bool:
        """Whether some stretch of the branch runs downhill from mouth to cap."""
        return bool(np.any(np.diff(self.points[:, 2]) < -1e-6))  # m; rounding of level pieces


def outline(
    pipework: Pipework,
    rise: float,
    outside_diameter: float,
    cap_thickness: float,
    lean: float = 0.0,
) -> Outline:
    """Lay a centre-line out in space.

    Parameters
    ----------
    pipework : Pipework
    rise : float, rad
        Of the first piece above the level.
    outside_diameter, cap_thickness : float, m
        The former of pieces that have no tube of their own.
    lean : float, rad
        Of the first piece from square to the main pipe, towards +y.

    Returns
    -------
    Outline
        Points at the ends of straights and every degree of bends.

    Check
    -----
    Closed forms of elbows, loops and helices, in tests/models/length/test_outline.py.
    """
    place = np.zeros(3)
    square, aside = np.array([math.cos(rise), 0.0, math.sin(rise)]), np.array([0.0, 1.0, 0.0])
    ahead = math.cos(lean) * square + math.sin(lean) * aside
    inward = math.cos(lean) * aside - math.sin(lean) * square
    points, tangents, along = [place[None]], [ahead[None]], [np.zeros(1)]
    radii: list[FloatArray] = []
    for piece, twist in zip(pipework.pieces, pipework.twists, strict=True):
        tube = outside_diameter if piece.tube is None else piece.tube.outside_diameter
        parts = 1 if math.isinf(piece.bend_radius) else _arcs(piece)
        radii.append(np.full(parts, tube / 2))
        began = along[-1][-1]
        if math.isinf(piece.bend_radius):
            place = place + piece.length * ahead
            points.append(place[None])
            tangents.append(ahead[None])
            along.append(began + np.array([piece.length]))
            continue
        inward = math.cos(twist) * inward + math.sin(twist) * _cross(ahead, inward)
        angle, radius = piece.length / piece.bend_radius, piece.bend_radius
        turned = np.linspace(0.0, angle, 1 + parts)[1:]
        sine, cosine = np.sin(turned)[:, None], np.cos(turned)[:, None]
        points.append(place + radius * (sine * ahead + (1 - cosine) * inward))
        tangents.append(cosine * ahead + sine * inward)
        along.append(began + radius * turned)
        place, before = points[-1][-1], ahead
        ahead = tangents[-1][-1]
        inward = math.cos(angle) * inward - math.sin(angle) * before
    return Outline(
        np.concatenate(along),
        np.concatenate(points),
        np.concatenate(tangents),
        np.concatenate(radii),
        cap_thickness,
    )


def _arcs(piece: Piece) -> int:
    """Into how many straight parts a bend is laid out."""
    return max(1, math.ceil(piece.length / piece.bend_radius / ARC_STEP))


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.array(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    )
