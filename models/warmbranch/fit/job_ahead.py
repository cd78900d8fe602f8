"""What a job still asks for: cuts, a hearing after each, and what is left over in the end.

The advice is played through beforehand, in one dimension: what has to come off is uncertain by the
spread of the fit, each hearing tells it to its own error, and the saw stops where the next cut is
not worth a millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.draws import standard_normal

PATHS = 500
"""Jobs played through: the mean number of cuts to 0.05."""

LEAST_CUT = 0.001
"""m. A cut below it is not made."""

MOST_CUTS = 8
SEED = 47


@dataclass(frozen=True)
class JobAhead:
    """A job from the cut that is advised now to the last.

    Parameters
    ----------
    cuts : float
        Mean number, that which is advised now among them; each is followed by a hearing.
    left_over : float, m
        Median of what stays too long in the end.
    too_short : float
        Share of the jobs that end too short.
    """

    cuts: float
    left_over: float
    too_short: float


def job_ahead(first: float, spread: float, hearing: float, sigmas: float) -> JobAhead:
    r"""Play jobs through, cut after cut.

    After a hearing of error σ a spread s becomes ``s σ / √(s² + σ²)``, and the middle moves by
    the share ``s² / (s² + σ²)`` of what was heard beside it.

    Parameters
    ----------
    first : float, m
        Cut that is advised now, from the middle of what has to come off: negative before it.
    spread : float, m
        One standard deviation of what has to come off.
    hearing : float, m
        The same of one hearing by itself. What the ear is off by every time belongs to what has
        to come off.
    sigmas : float
        Standard deviations that each cut keeps off the middle.

    Valid for
    ---------
    Normal distributions, and a tone that moves in proportion to the length.

    Check
    -----
    A hearing that tells nothing leaves one cut, and ``sigmas`` spreads left over.

    >>> alone = job_ahead(-1.88 * 0.02, 0.02, 1e6, 1.88)
    >>> alone.cuts, round(alone.left_over, 4)
    (1.0, 0.0376)
    """
    drawn = standard_normal(PATHS, 1 + MOST_CUTS, SEED)
    truth, middle = spread * drawn[:, 0], np.zeros(PATHS)
    off: FloatArray = np.full(PATHS, first)
    cuts, cutting = np.ones(PATHS), np.ones(PATHS, dtype=np.bool_)
    for step in range(1, MOST_CUTS):
        # Nothing is learned where nothing is unknown.
        told = spread**2 / (spread**2 + hearing**2) if spread > 0 else 0.0
        heard = truth + hearing * drawn[:, step]
        middle = np.where(cutting, middle + told * (heard - middle), middle)
        spread *= float(np.sqrt(1 - told))
        wanted = middle - sigmas * spread
        cutting = cutting & (wanted - off >= LEAST_CUT)
        off = np.where(cutting, wanted, off)
        cuts += cutting
    return JobAhead(
        cuts=float(np.mean(cuts)),
        left_over=float(np.median(truth - off)),
        too_short=float(np.mean(off > truth)),
    )
