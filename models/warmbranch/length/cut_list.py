"""What to cut: pieces of tube, marks, saddle, mass and stock."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from warmbranch.base.errors import GeometryError
from warmbranch.case.geometry import Piece

AROUND = 360
"""Places round half a leaning tube at which its saddle is looked at: within a thousandth."""


@dataclass(frozen=True)
class CutPiece:
    """One piece of the centre-line as built.

    Parameters
    ----------
    piece : Piece
    start, end : float, m
        From the mouth, along the centre-line.
    inside, outside : float, m
        Lengths along the inner and the outer side of a bend; of a straight, its length.
    takes_length : bool
        Whether this piece is the one made longer, and trimmed.
    """

    piece: Piece
    start: float
    end: float
    inside: float
    outside: float
    takes_length: bool

    @property
    def is_bend(self) -> bool:
        """Whether it is a bend."""
        return math.isfinite(self.piece.bend_radius)

    @property
    def angle(self) -> float:
        """Angle turned through, rad; 0 for a straight."""
        return self.piece.length / self.piece.bend_radius


def cut_pieces(pieces: Sequence[Piece], outside_diameter: float) -> list[CutPiece]:
    """Lay pieces along the centre-line.

    Parameters
    ----------
    pieces : sequence of Piece
        As built, from mouth to cap.
    outside_diameter : float, m
        Of pieces that have no tube of their own.

    Returns
    -------
    list of CutPiece

    Check
    -----
    Exact: a bend of angle θ measures θ(R ∓ D/2) on its sides. tests/models/length/test_cut_list.py.
    """
    found: list[CutPiece] = []
    start = 0.0
    for number, piece in enumerate(pieces, start=1):
        angle = piece.length / piece.bend_radius
        own = outside_diameter if piece.tube is None else piece.tube.outside_diameter
        side = angle * own / 2
        found.append(
            CutPiece(
                piece=piece,
                start=start,
                end=start + piece.length,
                inside=piece.length - side,
                outside=piece.length + side,
                takes_length=number == len(pieces),
            )
        )
        start += piece.length
    return found


def saddle_depth(outside_diameter: float, main_outside_diameter: float, lean: float = 0.0) -> float:
    r"""Depth of the saddle cut into a tube that stands on a round pipe, m.

    .. math:: \max_\theta\,\frac{R - \sqrt{R^2 - r^2\sin^2\theta} - r\cos\theta\sin\varphi}
              {\cos\varphi}

    which is :math:`R - \sqrt{R^2 - r^2}` of one that stands square.

    Parameters
    ----------
    outside_diameter, main_outside_diameter : float, m
        Of the branch, ``2r``, and of the main pipe, ``2R``.
    lean : float, rad
        From square, φ; the sign does not matter.

    Returns
    -------
    float, m
        How much further the tube reaches down than its centre-line to the main pipe's crown.
        Square, as deep as the main pipe's radius where the branch is as wide; NaN where wider.

    Check
    -----
    Exact, by hand: 60 on 100: 50 − √(50² − 30²) = 10.

    >>> round(saddle_depth(0.06, 0.10), 12)
    0.01
    """
    radius, main = outside_diameter / 2, main_outside_diameter / 2
    if radius > main:
        return math.nan
    square = main - math.sqrt(main**2 - radius**2)
    if lean == 0:
        return square
    around = [math.pi * k / AROUND for k in range(AROUND + 1)]
    return max(
        main
        - math.sqrt(main**2 - (radius * math.sin(angle)) ** 2)
        - radius * math.cos(angle) * math.sin(abs(lean))
        for angle in around
    ) / math.cos(lean)


def tube_mass(length: float, wall_section: float, density: float) -> float:
    """Mass of a tube, kg: by Pappus the centre-line's length counts, bent or straight.

    Parameters
    ----------
    length : float, m
    wall_section : float, m²
        Of metal.
    density : float, kg/m³

    >>> round(tube_mass(1.0, 2e-4, 7900.0), 6)
    1.58
    """
    return length * wall_section * density


def cap_mass(outside_diameter: float, thickness: float, density: float) -> float:
    """Mass of a plain cap plate, kg.

    >>> round(cap_mass(0.05, 0.002, 7900.0), 5)
    0.03102
    """
    return math.pi / 4 * outside_diameter**2 * thickness * density


@dataclass(frozen=True)
class Stock:
    """Straight tube to buy.

    Parameters
    ----------
    length : float, m
        Straights with a kerf each.
    bars : int
        Bars of the given stock length that it takes.
    left_over : float, m
        Of all bars together.
    """

    length: float
    bars: int
    left_over: float


def stock(straights: Sequence[float], kerf: float, bar: float) -> Stock:
    """Cut straights from bars, the longest first, each from the first bar that has room.

    Parameters
    ----------
    straights : sequence of float, m
    kerf : float, m
        Lost by each cut.
    bar : float, m
        Length of a bar as bought.

    Raises
    ------
    GeometryError
        If a straight is longer than a bar.

    Valid for
    ---------
    First fit, longest first: at worst 11/9 of the least number of bars, and almost always the
    least for so few pieces.

    Check
    -----
    By hand: 0.6, 0.5 and 0.3 m with 2 mm kerf take 1.406 m: two bars of 1 m.

    >>> stock([0.3, 0.6, 0.5], 0.002, 1.0).bars
    2
    """
    room: list[float] = []
    for straight in sorted(straights, reverse=True):
        if straight > bar:
            raise GeometryError(
                "A straight is longer than a bar of tube.",
                field="cut.stock_length",
                value=bar,
                unit="m",
                remedy=f"Give bars of at least {straight:.4g} m, or join two by a sleeve.",
            )
        # The last cut of a bar may take its very end, kerf or no kerf.
        for i, left in enumerate(room):
            if straight <= left:
                room[i] = max(left - straight - kerf, 0.0)
                break
        else:
            room.append(max(bar - straight - kerf, 0.0))
    length = math.fsum(straights) + kerf * len(straights)
    return Stock(length, len(room), math.fsum(room))
