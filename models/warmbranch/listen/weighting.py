"""A-weighting of a spectrum."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import RealArray

POLES = (20.598997, 107.65265, 737.86223, 12194.217)
"""Hz. IEC 61672-1:2013, Annex E, from memory; the table of the standard is the check."""


def a_weighting(frequency: RealArray) -> RealArray:
    r"""Weight of a tone's level, dB, 0 at 1 kHz.

    Parameters
    ----------
    frequency : array, Hz
        Above 0.

    Returns
    -------
    array, dB

    Valid for
    ---------
    Spectra. A digital filter made from it by the bilinear transform is off near half the sampling
    rate, 5.8 dB at 6.3 kHz of 16 kHz; so spectra are weighted here, never signals.

    Check
    -----
    The table of IEC 61672-1, in tests/published: -19.1 dB at 100 Hz, as 10^2 Hz is printed.

    >>> a_weighting(np.array([100.0, 1000.0])).round(1)
    array([-19.1,   0. ])

    Source
    ------
    IEC 61672-1:2013.
    """
    return _raw(frequency) - _raw(np.array(1000.0))


def _raw(frequency: RealArray) -> RealArray:
    square = np.square(frequency)
    low, mid, high, top = (pole**2 for pole in POLES)
    gain = (
        top
        * np.square(square)
        / ((square + low) * np.sqrt((square + mid) * (square + high)) * (square + top))
    )
    return 20 * np.log10(gain)
