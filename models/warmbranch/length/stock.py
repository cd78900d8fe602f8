"""Tubes as dealers keep them, and a branch made of the next sizes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from warmbranch.case.case import Case
from warmbranch.case.geometry import Branch, Piece

SMALLEST, LARGEST = 15e-3, 150e-3
"""m. Admissible outside diameters."""


@dataclass(frozen=True)
class StockTube:
    """A tube as dealers keep it.

    Parameters
    ----------
    outside_diameter : float, m
    name : str
    """

    outside_diameter: float
    name: str


_INCHES = (1.0, 1.25, 1.5, 1.625, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0, 3.5, 4.0, 5.0)
_SMALL = (16, 18, 20, 22, 25, 28, 30, 32, 35, 38, 40, 42, 45, 48, 50, 51, 54, 55)
_MILLIMETRES = (*_SMALL, 60, 63.5, 70, 76, 80, 89, 102, 114, 127, 140)

STOCK_TUBES = tuple(
    sorted(
        [StockTube(inches * 25.4e-3, f"{inches:g} in") for inches in _INCHES]
        + [StockTube(size * 1e-3, f"{size:g} mm") for size in _MILLIMETRES],
        key=lambda tube: tube.outside_diameter,
    )
)
"""Outside diameters of exhaust tube commonly stocked. Common practice, no source."""

CLEARLY = 0.08
"""How far, relative, the neighbouring diameter must lie to be another choice: closer sizes are
the same tube in inches and in millimetres."""


def stock_neighbours(
    outside_diameter: float, smallest: float, largest: float
) -> tuple[StockTube | None, StockTube | None]:
    """Next clearly smaller and next clearly larger stock tube within bounds, m.

    >>> [tube and tube.name for tube in stock_neighbours(50.8e-3, 15e-3, 60e-3)]
    ['45 mm', '55 mm']
    """
    below = [
        tube
        for tube in STOCK_TUBES
        if smallest <= tube.outside_diameter <= outside_diameter * (1 - CLEARLY)
    ]
    above = [
        tube
        for tube in STOCK_TUBES
        if outside_diameter * (1 + CLEARLY) <= tube.outside_diameter <= largest
    ]
    return (below[-1] if below else None), (above[0] if above else None)


def of_stock_tubes(case: Case) -> list[tuple[StockTube, Case]]:
    """The branch of its stock neighbours, of the same wall; those that fit on the main pipe.

    Bends keep their proportion to the tube, as bends of one make do.

    Parameters
    ----------
    case : Case
        One design.

    Returns
    -------
    list of (StockTube, Case)
        Narrower first; each one design, of a length still to be found. None of a branch of several
        tubes, which has no one size to change.
    """
    branch, pipe = case.branch, case.main_pipe
    if branch.stepped.any():
        return []
    outside, wall = float(branch.outside_diameter[0]), float(branch.wall_thickness[0])
    widest = min(float(pipe.bore[0]) + 2 * wall, LARGEST)
    found: list[tuple[StockTube, Case]] = []
    for tube in stock_neighbours(outside, max(SMALLEST, 4 * wall), widest):
        if tube is None:
            continue
        scale = tube.outside_diameter / outside
        pieces = tuple(_scaled(piece, scale) for piece in branch.pieces[0])
        # Three bores must be there to begin with; the search sets the length anyway.
        missing = 4 * tube.outside_diameter - math.fsum(piece.length for piece in pieces)
        if missing > 0:
            pieces = (*pieces, Piece(missing))
        other = Branch(
            np.array([tube.outside_diameter]),
            branch.wall_thickness,
            branch.cap_thickness,
            (pieces,),
            branch.rise,
            branch.lean,
        )
        found.append((tube, replace(case, branch=other)))
    return found


def _scaled(piece: Piece, scale: float) -> Piece:
    if math.isinf(piece.bend_radius):
        return piece
    return Piece(piece.length * scale, piece.bend_radius * scale)
