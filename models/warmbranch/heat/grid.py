"""Node positions along the branch, crowded towards the hot mouth."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray

DEFAULT_NODES = 129
"""Nodes of the default grid, placed by sketch.py; by measured accuracy, see DEVELOPERS.md."""

SKETCH_NODES = 97
"""Graded nodes of the sketch that places them."""

GRADED_NODES = 161
"""Graded nodes that are as accurate, for who cannot place them by one profile."""

STEP_EDGES = 32
"""Even parts of the nodes on whose ends steps of the tube are laid: the cells of the sound."""

DENSITY = 12.0
"""Decay lengths that evenly spread nodes of the mouth's spacing would cover; by measurement the
one that serves both steep and gentle profiles best."""


CHEAP_STEPS = 3
MOST_GRADING_STEPS = 60
"""Four are the rule; where the ratio is 1 but for rounding, each halves what is left."""


def graded(length: FloatArray, first_scale: FloatArray, nodes: int) -> FloatArray:
    r"""Exponentially graded positions from mouth to cap.

    .. math:: x(s) = L\,\frac{e^{\beta s} - 1}{e^{\beta} - 1},\quad
              \left.\frac{dx}{ds}\right|_0 = \min(L, 12\,\delta)

    The grading depends on the design, never on the number of nodes, so refinement keeps the map
    and a second-order scheme shows its order.

    Parameters
    ----------
    length : (designs,) array, m
    first_scale : (designs,) array, m
        Shortest decay length δ of the profile at the mouth.
    nodes : int
        At least 3.

    Returns
    -------
    (designs, nodes) array, m
        Strictly rising from 0 to ``length``.
    """
    steepness = _steepness(np.minimum(1.0, DENSITY * first_scale / length))
    s = np.linspace(0.0, 1.0, nodes)
    beta = np.maximum(steepness, 1e-9)[:, None]
    x = length[:, None] * np.expm1(beta * s) / np.expm1(beta)
    x[:, -1] = length
    return x


def _steepness(ratio: FloatArray) -> FloatArray:
    """Solve ``β / (e^β − 1) = ratio`` for β ≥ 0, ``0 < ratio <= 1``, by Newton's method.

    In the form ``β − ln(1 + β/ratio) = 0``, whose left side is convex and, since sinh(x) ≥ x, not
    below 0 at ``2 ln(1/ratio)``: from there steps come down to the solution, first cheap ones.
    """
    beta = -2 * np.log(ratio)
    for _ in range(CHEAP_STEPS):
        beta = np.log1p(beta / ratio)
    for _ in range(MOST_GRADING_STEPS):
        slope = 1 - 1 / (ratio + beta)
        step = (beta - np.log1p(beta / ratio)) / np.where(slope > 0, slope, 1.0)
        beta = np.maximum(beta - step, 0.0)
        if np.all(step < 1e-12 * (1 + beta)):
            break
    return beta
