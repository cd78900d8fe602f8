"""Two views of a branch as SVG, in millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.length.outline import Outline, Space
from warmbranch_service.case.convert import MM

MARGIN_MM = 40.0
WALL_MM = 1.0
"""Of the lines that stand for the tube's sides; the drawing shows outsides, not sections."""

END_ON = 0.2
"""Projected length of a unit tangent below which the tube is seen end on, as a circle."""


@dataclass(frozen=True)
class MainPipeSection:
    """The main pipe, m: what the branch stands on."""

    outside_diameter: float
    wall_thickness: float


@dataclass(frozen=True)
class _View:
    """Which axes of the outline are drawn to the right and upward."""

    right: int
    up: int
    title: str
    right_name: str
    up_name: str


_PLAN = _View(1, 0, "Plan, from above", "width", "depth")
_SIDE = _View(0, 2, "Side, along the main pipe", "depth", "height")


def plan_and_side(
    outline: Outline, main_pipe: MainPipeSection, space: Space | None
) -> tuple[str, str]:
    """Plan and side view of a branch on its main pipe.

    Parameters
    ----------
    outline : Outline
    main_pipe : MainPipeSection
    space : Space, optional
        Drawn from the envelope's nearest corner, to compare.

    Returns
    -------
    two str
        Self-contained SVG, no script, no outside reference.
    """
    plan, side = (_drawn(outline, main_pipe, space, view) for view in (_PLAN, _SIDE))
    return plan, side


def _drawn(outline: Outline, main_pipe: MainPipeSection, space: Space | None, view: _View) -> str:
    axes = [view.right, view.up]
    points = outline.points[:, axes] / MM
    low, high = (end[axes] / MM for end in (outline.envelope.low, outline.envelope.high))
    main = _main_pipe(main_pipe, view, float(low[0]), float(high[0]))
    corner = low.copy()
    room = _room(space, view)
    far = np.maximum(high, corner + room) if room is not None else high
    least = np.minimum(low, [main.left, main.bottom])
    most = np.maximum(far, [main.right, main.top])
    least, most = least - MARGIN_MM, most + MARGIN_MM
    size = most - least
    text = max(10.0, 0.022 * float(size.max()))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[0]:.0f}mm" height="{size[1]:.0f}mm" '
        f'viewBox="{least[0]:.1f} {-most[1]:.1f} {size[0]:.1f} {size[1]:.1f}" '
        f'font-family="sans-serif" font-size="{text:.0f}">',
        f"<title>{view.title}; sizes in mm</title>",
        main.drawn,
        *_tube(outline, points, view),
    ]
    if room is not None:
        parts.append(_box(corner, room, "space given", "#2a6fb0", text))
    names = f"{view.right_name} {high[0] - low[0]:.0f}, {view.up_name} {high[1] - low[1]:.0f}"
    parts.append(_box(low, high - low, names, "#888888", text))
    return "".join([*parts, "</svg>"])


@dataclass(frozen=True)
class _Main:
    drawn: str
    left: float
    right: float
    bottom: float
    top: float


def _main_pipe(pipe: MainPipeSection, view: _View, left: float, right: float) -> _Main:
    """The inner wall at the mouth is where the outline begins."""
    outside, wall = pipe.outside_diameter / MM, pipe.wall_thickness / MM
    style = 'fill="#e8e0d8" stroke="#6b5d4f" stroke-width="1"'
    if view is _PLAN:
        bottom, top = wall - outside, wall
        left, right = left - MARGIN_MM / 2, right + MARGIN_MM / 2
        drawn = (
            f'<rect x="{left:.1f}" y="{-top:.1f}" width="{right - left:.1f}" '
            f'height="{outside:.1f}" {style}/>'
        )
        return _Main(drawn, left, right, bottom, top)
    middle = wall - outside / 2
    drawn = f'<circle cx="{middle:.1f}" cy="0" r="{outside / 2:.1f}" {style}/>'
    return _Main(drawn, middle - outside / 2, wall, -outside / 2, outside / 2)


def _tube(outline: Outline, points: FloatArray, view: _View) -> list[str]:
    path = "M" + "L".join(f"{x:.1f} {-y:.1f}" for x, y in points)
    projected = np.linalg.norm(outline.tangents[:, [view.right, view.up]], axis=1)
    first, last = 2 * outline.radii[[0, -1]] / MM
    end_on = points[projected < END_ON]
    discs = [
        f'<circle cx="{x:.1f}" cy="{-y:.1f}" r="{first / 2:.1f}" fill="#f4f1ec" '
        f'stroke="#333333" stroke-width="{WALL_MM}"/>'
        for x, y in end_on[:1].tolist()
    ]
    x, y = points[-1]
    across = outline.tangents[-1][[view.right, view.up]]
    cap = (
        f'<path d="M{x - across[1] * last / 2:.1f} {-(y + across[0] * last / 2):.1f}'
        f'L{x + across[1] * last / 2:.1f} {-(y - across[0] * last / 2):.1f}" '
        f'stroke="#333333" stroke-width="{max(outline.cap_thickness / MM, 2):.1f}"/>'
    )
    return [
        *(
            f'<path d="{run}" fill="none" stroke-linejoin="round" stroke="{colour}" '
            f'stroke-width="{outside - inset:.1f}"/>'
            for colour, inset in (("#333333", 0.0), ("#f4f1ec", 2 * WALL_MM))
            for run, outside in _runs(outline, points)
        ),
        *discs,
        f'<path d="{path}" fill="none" stroke-linejoin="round" stroke="#b03a2e" '
        'stroke-width="0.8" stroke-dasharray="12 3 3 3"/>',
        cap,
    ]


def _runs(outline: Outline, points: FloatArray) -> list[tuple[str, float]]:
    """Paths of one tube each, with its outside diameter, mm."""
    changes = 1 + np.flatnonzero(np.diff(outline.radii) != 0)
    edges = [0, *changes.tolist(), len(outline.radii)]
    return [
        (
            "M" + "L".join(f"{x:.1f} {-y:.1f}" for x, y in points[begin : end + 1]),
            float(2 * outline.radii[begin] / MM),
        )
        for begin, end in pairwise(edges)
    ]


def _room(space: Space | None, view: _View) -> FloatArray | None:
    if space is None:
        return None
    sides = (space.depth, space.width, space.height)
    return np.array([sides[view.right], sides[view.up]]) / MM


def _box(corner: FloatArray, size: FloatArray, label: str, colour: str, text: float) -> str:
    top = -(corner[1] + size[1])
    return (
        f'<rect x="{corner[0]:.1f}" y="{top:.1f}" width="{size[0]:.1f}" height="{size[1]:.1f}" '
        f'fill="none" stroke="{colour}" stroke-width="1" stroke-dasharray="4 4"/>'
        f'<text x="{corner[0]:.1f}" y="{top - 0.35 * text:.1f}" fill="{colour}">{label}</text>'
    )
