"""Resonances of ducts so narrow or so long that losses nearly drown them.

A zero of the reactance then lies far from where the mode would resonate without losses, and the
search that starts there may take the next one for the first, or none at all. Such a duct is looked
over from low to high instead.

quality_factors   of zeros of the reactance, which also tells those that are no resonance
look_again        finds anew the resonances of designs that may have lost one
"""

from __future__ import annotations

import numpy as np

from warmbranch.base import stopping
from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.sound.acoustics import Duct, input_impedance

DOUBTFUL_QUALITY = 3.0
"""First resonances that are flatter are looked for again. Of 60,000 corners of the admissible box
the flattest wrong one had 1.6."""

HIGHEST = 9.0
"""Where the looking ends, over the first resonance of an even duct without losses: the third lies
at 5, and gradients and mouths move it to 7 at most."""

POINTS = 720
"""Between which the reactance is taken to have one zero. Resonances that are doubtful are as wide
as many of them."""

HALVINGS = 44
"""Leave a hundred-thousandth of a billionth of the spacing."""

AT_ONCE = 64
"""Designs looked over at once, for memory's sake."""


def quality_factors(duct: Duct, frequency: FloatArray) -> FloatArray:
    r"""Quality factors of resonances, ``Q = ω (dX/dω) / (2 R)``.

    Parameters
    ----------
    duct : Duct
    frequency : (designs, n) array, Hz
        Zeros of the reactance.

    Returns
    -------
    (designs, n) array, dimensionless
        Infinite without losses. NaN where ``frequency`` is, and where the reactance falls or the
        resistance exceeds the characteristic impedance: that is no resonance.

    Check
    -----
    Uniform tube: ``Q = π / (4 α L)`` for small losses, in tests/models/sound/test_resonance.py.

    Notes
    -----
    The slope is a central difference of relative step 1e-4; its error, some 1e-8, is far below
    the meaning of a quality factor.
    """
    step = 1e-4
    n = frequency.shape[1]
    around = np.concatenate([frequency * (1 - step), frequency, frequency * (1 + step)], axis=1)
    impedance = input_impedance(duct, np.where(np.isnan(around), 1.0, around))
    rise = (impedance[:, 2 * n :].imag - impedance[:, :n].imag) / (2 * step)
    resistance = impedance[:, n : 2 * n].real
    proper = (rise > 0) & (resistance < duct.mouth_impedance[:, None]) & ~np.isnan(frequency)
    with np.errstate(divide="ignore", invalid="ignore"):
        quality = np.where(duct.wall_losses[:, None], rise / (2 * resistance), np.inf)
    return np.where(proper, quality, np.nan)


def look_again(
    duct: Duct, frequency: FloatArray, quality: FloatArray, among: BoolArray | None = None
) -> None:
    """Put right, in place, the resonances of designs whose losses may have misled the search.

    Parameters
    ----------
    duct : Duct
    frequency, quality : (designs, modes) array; Hz, dimensionless
        Rising, NaN last. A design that lacks one of them, or whose first is flatter than
        ``DOUBTFUL_QUALITY``, gets the first rising zeros of its reactance that are resonances,
        unless fewer are found than were there.
    among : (designs,) array of bool, optional
        Designs that are looked at.
    """
    lossy = duct.wall_losses.astype(np.bool_)
    if among is not None:
        lossy &= among
    first = quality[:, 0]
    doubtful: BoolArray = lossy & (np.isnan(frequency).any(axis=1) | (first < DOUBTFUL_QUALITY))
    rows = np.flatnonzero(doubtful)
    for start in range(0, len(rows), AT_ONCE):
        stopping.check()
        some = rows[start : start + AT_ONCE]
        found, flat = _looked_over(duct.take(some), frequency.shape[1])
        before = (~np.isnan(frequency[some])).sum(axis=1)
        better = (~np.isnan(found)).sum(axis=1) >= before
        frequency[some[better]], quality[some[better]] = found[better], flat[better]


def _looked_over(duct: Duct, modes: int) -> tuple[FloatArray, FloatArray]:
    """First resonances from low to high, and their quality factors, each (designs, modes)."""
    time = duct.transit_time + duct.mouth_inertance / duct.mouth_impedance
    grid = np.linspace(0.0, HIGHEST, POINTS + 1)[1:] / (4 * time)[:, None]
    reactance = input_impedance(duct, grid).imag
    rises = (reactance[:, :-1] < 0) & (reactance[:, 1:] >= 0)
    found = np.full((len(duct), modes), np.nan)
    flat = np.full((len(duct), modes), np.nan)
    design, place = np.nonzero(rises)
    if len(design) == 0:
        return found, flat
    own = duct.take(design)
    low, high = grid[design, place], grid[design, place + 1]
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        below = input_impedance(own, middle[:, None])[:, 0].imag < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    zero = (low + high) / 2
    factors = quality_factors(own, zero[:, None])[:, 0]
    counted = np.zeros(len(duct), dtype=np.intp)
    for i, one, factor in zip(design.tolist(), zero.tolist(), factors.tolist(), strict=True):
        if counted[i] < modes and not np.isnan(factor):
            found[i, counted[i]], flat[i, counted[i]] = one, factor
            counted[i] += 1
    return found, flat
