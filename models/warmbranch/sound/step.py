"""The gas that swings with a step of the bore: an inertance of its own, beside those of both."""

from __future__ import annotations

from functools import cache

import numpy as np

from warmbranch.base.batch import FloatArray

TERMS = 600
"""Of the series: the rest is below 1e-5 of it at a ratio of 0.05, and less above."""


@cache
def _zeros() -> tuple[FloatArray, FloatArray]:
    """Zeros of J₁, and x J₀(x) there, squared."""
    from scipy.special import j0, jn_zeros  # dear to import, and most branches have no step

    zeros: FloatArray = np.asarray(jn_zeros(1, TERMS), dtype=np.float64)
    return zeros, np.square(zeros * np.asarray(j0(zeros), dtype=np.float64))


def step_length(narrow: FloatArray, wide: FloatArray) -> FloatArray:
    r"""Length of the narrow tube's gas that a step adds to the inertance, m.

    .. math:: \delta = \frac{8}{3\pi} a\,H(\alpha),\quad
              H = \frac{3\pi}{2} \sum_m \frac{J_1^2(\alpha x_m)}{\alpha x_m\,[x_m J_0(x_m)]^2}

    with the zeros :math:`x_m` of J₁ and the ratio α of the radii.

    Parameters
    ----------
    narrow, wide : array, m
        Radii; ``narrow <= wide``.

    Returns
    -------
    array, m
        0 where they are alike.

    Valid for
    ---------
    Plane waves, round tubes on one axis, tubes to both sides longer than the wider is wide. Gas
    that enters the wide tube as from a piston, which is up to 4 % more than a true jet of still
    gas has.

    Check
    -----
    8a/(3π) where the wide tube is endless; the fits to H that others use, fixtures/published;
    the step in a closed tube, tests/models/steady/test_stepped.py.

    Source
    ------
    F. C. Karal, J. Acoust. Soc. Am. 25 (1953) 327; the series from memory, derived anew.
    """
    narrow, wide = np.broadcast_arrays(narrow, wide)
    # Many draws of one branch have the same steps: the series is summed once for each.
    ratio, which = np.unique(np.minimum(narrow / wide, 1.0), return_inverse=True)
    share = np.where(ratio < 1, _karal(ratio), 0.0)
    return 8 / (3 * np.pi) * narrow * share[which].reshape(narrow.shape)


def _karal(ratio: FloatArray) -> FloatArray:
    from scipy.special import j1

    zeros, denominators = _zeros()
    place = ratio[:, None] * zeros
    terms = np.square(np.asarray(j1(place), dtype=np.float64)) / (place * denominators)
    return 1.5 * np.pi * terms.sum(axis=1)
