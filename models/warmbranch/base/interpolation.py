"""Values between the nodes of a profile."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray


def interpolated(x: FloatArray, values: FloatArray, at: FloatArray) -> FloatArray:
    """Third-order interpolation along each row.

    Parameters
    ----------
    x, values : (rows, nodes) array
        ``x`` rising along each row.
    at : (n,) array
        Within ``x``.

    Returns
    -------
    (rows, n) array
        Lagrange's polynomial through the four nodes about each place.
    """
    count, nodes = x.shape
    rows = np.arange(count, dtype=np.intp)[:, None]
    # One search for all rows: each is moved behind the one above it.
    apart = rows * (2 * float(x[:, -1].max()))
    above = np.searchsorted((x + apart).reshape(-1), at + apart, side="right")
    first = np.minimum(np.maximum(above - nodes * rows - 2, 0), nodes - 4)
    x0, x1, x2, x3 = (x[rows, first + i] for i in range(4))
    y0, y1, y2, y3 = (values[rows, first + i] for i in range(4))
    to0, to1, to2, to3 = at - x0, at - x1, at - x2, at - x3
    left, right = to0 * to1, to2 * to3
    h01, h02, h03, h12, h13, h23 = x0 - x1, x0 - x2, x0 - x3, x1 - x2, x1 - x3, x2 - x3
    return (
        y0 * to1 * right / (h01 * h02 * h03)
        - y1 * to0 * right / (h01 * h12 * h13)
        + y2 * left * to3 / (h02 * h12 * h23)
        - y3 * left * to2 / (h03 * h13 * h23)
    )
