"""Length corrections of the mouth: the gas of the main pipe that swings with the branch.

Each is a length of main-pipe gas of the branch's bore, measured outward from the main pipe's inner
wall, in units of the branch's bore radius ``a``. The main pipe's flow takes much of it from slow
tones, so that the mouth's inertance goes with the frequency. The same in C: core/main_pipe.c.
"""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.closures import Closures, MouthModel

FLANGED = 0.8216
"""Infinite flange, low frequency. Common to the acoustics of pipes; value from memory."""

UNFLANGED = 0.6133
"""Unflanged pipe, low frequency, as printed. Levine & Schwinger, Phys. Rev. 73 (1948) 383."""


def side_branch_correction(radius_ratio: FloatArray) -> FloatArray:
    r"""Correction of a side branch on a round pipe, without flow, over the branch's radius.

    .. math:: \delta/a = 0.8216 - 0.0644\xi - 0.694\xi^2\ (\xi \le 0.4),\quad
              0.9326 - 0.6196\xi\ (\xi > 0.4)

    Parameters
    ----------
    radius_ratio : array, dimensionless
        ξ, branch bore over main-pipe bore. ``0 <= ξ <= 1``.

    Returns
    -------
    array, dimensionless
        Beyond ξ = 1, where no correction is known, its value at 1; the answer then carries the
        caution ``mouth_correction_range``.

    Valid for
    ---------
    A branch at a right angle, no main flow; what that takes is :func:`taken_by_flow`'s.

    Check
    -----
    Within 0.008 of Lefebvre & Scavone's independent fit over 0..1.

    Source
    ------
    [Ji2005] J. Sound Vib. 283 (2005) 1180; coefficients as quoted by others.
    """
    ratio = np.minimum(radius_ratio, 1.0)
    narrow = 0.8216 - 0.0644 * ratio - 0.694 * ratio**2
    wide = 0.9326 - 0.6196 * ratio
    return np.where(ratio <= 0.4, narrow, wide)


TAKEN = 0.82
"""Of the bore's radius, taken by the flow from a slow and faint tone, over the root of the ratio of
bores. This and the next three are fitted to our own simulation: fixtures/simulated/MouthMass.toml,
tests/experiments/mouth/mass.md. That the correction comes to a single value in the quasi-steady
limit: SAE 2009-01-2043, seen in the abstract."""

FASTEST, ABRUPTNESS = 0.40, 3
"""Strouhal number at which 1/e of it is left, and how abruptly it ends. Between some 0.4 and 0.6 a
mouth may whistle; there it is known least."""

LOUD = 0.3
"""Gas's velocity at the mouth, over the flow's, that halves it."""


def taken_by_flow(radius_ratio: FloatArray, level: FloatArray) -> FloatArray:
    """What a main flow takes off the correction of a slow tone, over the branch's radius.

    Parameters
    ----------
    radius_ratio : array, dimensionless
        Branch bore over main-pipe bore; 1 stands for what is larger.
    level : array, dimensionless
        Amplitude of the gas's velocity at the mouth over the flow's bulk speed; infinite where the
        main pipe's gas stands.

    Returns
    -------
    array, dimensionless
        To be multiplied by :func:`flow_share`.

    Valid for
    ---------
    Bores of 0.5 to 0.9 of the main pipe's, a sharp mouth at a right angle, Mach numbers of 0.09 to
    0.14, levels of 0.04 to 0.6. What is left of the correction may be less than nothing. Known to
    0.1 of the radius.

    Check
    -----
    The simulation's runs, in tests/experiments/mouth/test_mass.py.
    """
    with np.errstate(over="ignore"):
        loud = np.square(level / LOUD)
    return TAKEN * np.sqrt(np.minimum(radius_ratio, 1.0)) / (1 + loud)


def flow_share(strouhal: FloatArray) -> FloatArray:
    r"""How much of that a tone meets, :math:`e^{-(St/0.4)^3}`.

    Parameters
    ----------
    strouhal : array, dimensionless
        Frequency times the branch's bore over the main flow's bulk speed. ``>= 0``; infinite where
        the gas stands. Computed from 0.06 to 0.6.

    Returns
    -------
    array, dimensionless
        1 for slow tones, 0 for fast ones.
    """
    with np.errstate(over="ignore"):
        return np.exp(-((strouhal / FASTEST) ** ABRUPTNESS))


def mouth_lengths(
    closures: Closures, bore: FloatArray, main_bore: FloatArray, level: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mouth correction of each design without flow, and what the flow takes of a slow tone's.

    Parameters
    ----------
    closures : Closures
        A length that is given is the whole correction: no flow takes of it.
    bore, main_bore : (designs,) array, m
    level : (designs,) array, dimensionless
        See :func:`taken_by_flow`.

    Returns
    -------
    two (designs,) arrays, m
    """
    model, ratio = closures.mouth_model, bore / main_bore
    per_radius = np.where(
        model == MouthModel.SIDE_BRANCH,
        side_branch_correction(ratio),
        np.where(model == MouthModel.FLANGED, FLANGED, UNFLANGED),
    )
    fixed = closures.fixed_mouth_length
    given = ~np.isnan(fixed)
    taken = closures.mouth_flow * taken_by_flow(ratio, level) * bore / 2
    return (
        np.where(given, fixed, closures.mouth_factor * per_radius * bore / 2),
        np.where(given, 0.0, taken),
    )


def over_flow(value: FloatArray, speed: FloatArray) -> FloatArray:
    """A velocity, m/s, or a length, m, over the main flow's speed; infinite where that stands."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return np.where(speed > 0, value / speed, np.inf)
