"""Designs whose pieces are of several tubes, made from designs of one."""

from dataclasses import replace

import numpy as np

from warmbranch.case.case import Case
from warmbranch.case.geometry import Piece, Tube


def of_several_tubes(case: Case, seed: int) -> Case:
    """The same lengths in two to four straights and bends, some of other tubes.

    Outside diameters from 0.64 to 1.6 of the design's own, which stays somewhere; none wider than a
    third of the length.
    """
    rng = np.random.default_rng(seed)
    branch = case.branch
    laid = []
    for length, outside, wall in zip(
        branch.length, branch.outside_diameter, branch.wall_thickness, strict=True
    ):
        widest = min(1.6, length / (3 * outside))
        shares = rng.dirichlet(np.full(rng.integers(2, 5), 3.0))
        tubes = [
            Tube(float(outside * size), float(wall * size)) if rng.random() < 0.7 else None
            for size in rng.uniform(0.4, 1.0, len(shares)) * widest
        ]
        tubes[rng.integers(len(tubes))] = None
        radii = np.where(rng.random(len(shares)) < 0.3, 3 * outside, np.inf)
        laid.append(
            tuple(
                Piece(float(share * length), float(radius), tube)
                for share, radius, tube in zip(shares, radii, tubes, strict=True)
            )
        )
    return case.changed(branch=replace(branch, pieces=tuple(laid)))
