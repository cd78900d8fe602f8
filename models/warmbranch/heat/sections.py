"""Surfaces and sections along branches on their grid, of one tube each or of several.

What conducts through a face is the parts of both sides in series, so that the heat that leaves one
tube enters the next. The rings that close a step take part, as plates square to the branch.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.bores import BoreSteps, means_between, steps_of, summed
from warmbranch.case.geometry import Branch
from warmbranch.case.surroundings import Covering


class Sections(NamedTuple):
    """Of control volumes (designs, nodes), of faces (designs, nodes − 1), of the cap (designs,).

    Where every branch is of one tube, what is the same all along is (designs, 1).

    Parameters
    ----------
    bore_surface, skin_area : of control volumes, m²
        The cap's left out; and with it.
    bore, skin_diameter : of control volumes, m
        What makes film × surface that of each part.
    wrap_conductance : of control volumes, W/K
        Infinite where the tube is bare.
    face_bore, bore_area, wall_area : of faces; m, m², m²
    cap_area : m²
        Of the bore.
    """

    bore_surface: FloatArray
    skin_area: FloatArray
    bore: FloatArray
    skin_diameter: FloatArray
    wrap_conductance: FloatArray
    face_bore: FloatArray
    bore_area: FloatArray
    wall_area: FloatArray
    cap_area: FloatArray


def control_widths(x: FloatArray) -> FloatArray:
    """Length of each control volume round the nodes ``x``, (designs, nodes), m."""
    half = (x[:, 1:] - x[:, :-1]) / 2
    width = np.zeros_like(x)
    width[:, :-1] += half
    width[:, 1:] += half
    return width


def sections(branch: Branch, covering: Covering, x: FloatArray) -> Sections:
    """Measure a batch on its grid.

    Parameters
    ----------
    branch : Branch
    covering : Covering
    x : (designs, nodes) array, m

    Check
    -----
    Exact: sums over the branch; one tube all along. tests/models/steady/test_stepped.py.
    """
    return _of_pieces(branch, covering, x) if branch.stepped.any() else _of_one(branch, covering, x)


def volumes(branch: Branch, covering: Covering, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Metal and wrap of each control volume, the cap's left out, m³."""
    if branch.stepped.any():
        outside, bore = branch.tubes
        wrap, within = covering.wrap_thickness[:, None], _within(branch, x)
        metal = np.pi / 4 * (np.square(outside) - np.square(bore))
        return within(metal), within(np.pi * wrap * (outside + wrap))
    width = control_widths(x)
    wrap_section = covering.wrap_thickness * (branch.outside_diameter + covering.wrap_thickness)
    return branch.wall_area[:, None] * width, np.pi * wrap_section[:, None] * width


def _of_one(branch: Branch, covering: Covering, x: FloatArray) -> Sections:
    width, outside = control_widths(x), branch.outside_diameter
    diameter = outside + 2 * covering.wrap_thickness
    area = np.pi * diameter[:, None] * width
    area[:, -1] += np.pi / 4 * diameter**2
    bore = branch.bore[:, None]
    return Sections(
        bore_surface=branch.bore_perimeter[:, None] * width,
        skin_area=area,
        bore=bore,
        skin_diameter=diameter[:, None],
        wrap_conductance=_through_even_wrap(diameter, outside, covering, width),
        face_bore=bore,
        bore_area=branch.bore_area[:, None],
        wall_area=branch.wall_area[:, None],
        cap_area=branch.bore_area,
    )


def _through_even_wrap(
    diameter: FloatArray, outside: FloatArray, covering: Covering, width: FloatArray
) -> FloatArray:
    thickness, conductivity = covering.wrap_thickness, covering.wrap_conductivity
    if not thickness.any():
        return np.full(width.shape, np.inf)
    with np.errstate(divide="ignore"):
        round_tube = 2 * np.pi * conductivity / np.log(diameter / outside)
        on_cap = np.pi / 4 * outside**2 * conductivity / thickness
    conductance = round_tube[:, None] * width
    conductance[:, -1] += on_cap
    return conductance


def _within(branch: Branch, x: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """What sums a quantity per metre of each piece over each control volume."""
    ends = np.concatenate([x[:, :1], (x[:, 1:] + x[:, :-1]) / 2, x[:, -1:]], axis=1)
    return lambda per_piece: np.diff(summed(branch, per_piece, ends), axis=1)


def _of_pieces(branch: Branch, covering: Covering, x: FloatArray) -> Sections:
    outside, bore = branch.tubes
    wrap = covering.wrap_thickness[:, None]
    skin = outside + 2 * wrap
    middle = (x[:, 1:] + x[:, :-1]) / 2
    width = np.diff(np.concatenate([x[:, :1], middle, x[:, -1:]], axis=1), axis=1)
    within = _within(branch, x)
    bore_surface, skin_area = within(np.pi * bore), within(np.pi * skin)
    node_bore, skin_diameter = bore_surface / (np.pi * width), skin_area / (np.pi * width)
    steps = steps_of(branch)
    bore_surface = bore_surface + _rings(steps, steps.bore, middle)
    wrapped = (steps.outside[0] + 2 * wrap, steps.outside[1] + 2 * wrap)
    skin_area = skin_area + _rings(steps, wrapped, middle)
    skin_area[:, -1] += np.pi / 4 * skin[:, -1] ** 2
    metal = np.pi / 4 * (np.square(outside) - np.square(bore))
    return Sections(
        bore_surface=bore_surface,
        skin_area=skin_area,
        bore=node_bore,
        skin_diameter=skin_diameter,
        wrap_conductance=_through_wrap(branch, covering, within),
        face_bore=means_between(branch, bore, x),
        bore_area=np.pi / 4 / means_between(branch, 1 / np.square(bore), x),
        wall_area=1 / means_between(branch, 1 / metal, x),
        cap_area=np.pi / 4 * bore[:, -1] ** 2,
    )


def _rings(
    steps: BoreSteps, diameter: tuple[FloatArray, FloatArray], middle: FloatArray
) -> FloatArray:
    """Rings that close the steps, in the control volumes that they lie in, m²."""
    area = np.pi / 4 * np.abs(np.square(diameter[0]) - np.square(diameter[1]))
    found = np.zeros((len(middle), middle.shape[1] + 1))
    for place, ring in zip(steps.place.T, area.T, strict=True):
        node = np.sum(middle < place[:, None], axis=1)
        found[np.arange(len(found)), node] += ring
    return found


def _through_wrap(
    branch: Branch, covering: Covering, within: Callable[[FloatArray], FloatArray]
) -> FloatArray:
    outside = branch.tubes[0]
    thickness, conductivity = covering.wrap_thickness[:, None], covering.wrap_conductivity[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        per_length = 2 * np.pi * conductivity / np.log((outside + 2 * thickness) / outside)
        round_tube = within(np.where(thickness > 0, per_length, 0.0))
        on_cap = np.pi / 4 * outside[:, -1] ** 2 * conductivity[:, 0] / thickness[:, 0]
    round_tube[:, -1] += on_cap
    return np.where(thickness > 0, round_tube, np.inf)
