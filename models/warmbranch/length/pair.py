"""Two branches: on the same pipe or one on each of two, of the same tune or staggered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import ComplexArray, FloatArray
from warmbranch.length.family import Family

STAGGERS = 49
"""Lengths looked at for each of the two branches."""

NO_BRANCH = 1e30
"""Pa s/m³. Impedance of a wall without a branch."""

LOOKS = 3
"""Times the search is narrowed around the best pair so far."""


@dataclass(frozen=True)
class SamePipe:
    """Two branches on one pipe.

    Parameters
    ----------
    spacing : float, m
        Between their mouths, along the pipe.
    sound_speed : float, m/s
        Of the main pipe's gas.
    main_impedance : float, Pa s/m³
        ρ c / S of the main pipe.
    """

    spacing: float
    sound_speed: float
    main_impedance: float

    def loss(self, first: ComplexArray, second: ComplexArray, frequency: FloatArray) -> FloatArray:
        r"""Transmission loss of both together, dB.

        .. math:: TL = 20\log_{10}\left|\left(1 + \tfrac{Z}{2Z_1}\right)
                  \left(1 + \tfrac{Z}{2Z_2}\right)
                  - \frac{Z^2}{4 Z_1 Z_2} e^{-2jks}\right|

        Parameters
        ----------
        first, second : complex array, Pa s/m³
            Input impedances; broadcast with ``frequency``, Hz.

        Returns
        -------
        array, dB

        Valid for
        ---------
        Plane waves, a lossless stretch between the mouths, no reflections elsewhere. A spacing of
        some quarter of a wavelength makes most of both.

        Check
        -----
        Against the product of four-poles, in tests/models/length/test_pair.py.

        Source
        ------
        Derived from the product of four-poles.
        """
        one, two = self.main_impedance / (2 * first), self.main_impedance / (2 * second)
        delay = np.exp(-4j * np.pi * frequency * self.spacing / self.sound_speed)
        return 20 * np.log10(np.abs((1 + one) * (1 + two) - one * two * delay))


@dataclass(frozen=True)
class TwoPipes:
    """One branch on each of two pipes that carry half of the sound each.

    Parameters
    ----------
    main_impedance : float, Pa s/m³
        ρ c / S of either pipe.
    """

    main_impedance: float

    def loss(self, first: ComplexArray, second: ComplexArray, frequency: FloatArray) -> FloatArray:
        r"""Loss of the sum of both outlets' powers, dB.

        .. math:: -10\log_{10} \tfrac12 \left(|t_1|^2 + |t_2|^2\right),\quad
                  t = \frac{1}{1 + Z/(2Z_b)}

        Valid for
        ---------
        Outlets whose powers add. Of outlets close to each other and in step the pressures add
        instead, which gives at least this loss.
        """
        del frequency
        one, two = (1 / (1 + self.main_impedance / (2 * z)) for z in (first, second))
        return -10 * np.log10((np.square(np.abs(one)) + np.square(np.abs(two))) / 2)


Arrangement = SamePipe | TwoPipes


@dataclass(frozen=True)
class Stagger:
    """Two lengths, and what they do over a band.

    Parameters
    ----------
    lengths : (2,) array, m
        Of the first and the second branch.
    loss : (frequencies,) array, dB
    least : float, dB
        Least loss over the band.
    """

    lengths: FloatArray
    loss: FloatArray
    least: float


def staggered(
    known: Family, arrangement: Arrangement, frequency: FloatArray, lengths: FloatArray
) -> Stagger:
    """Combined loss of two branches of a family, whose lengths are given, (2,), m."""
    first, second = known.impedance(lengths)[:, 0]
    loss = arrangement.loss(first, second, frequency)
    return Stagger(lengths, loss, float(loss.min()))


def one_branch(known: Family, arrangement: Arrangement, frequency: FloatArray) -> float:
    """Least loss over a band, dB, of the best single branch, the other's place being plain."""
    ends = float(known.lengths[0]), float(known.lengths[-1])
    lengths = np.linspace(*ends, STAGGERS**2)
    each = known.impedance(lengths)[:, 0]
    absent = np.full_like(each, NO_BRANCH)
    return float(arrangement.loss(each, absent, frequency).min(axis=1).max())


def same_tune(known: Family, arrangement: Arrangement, frequency: FloatArray) -> Stagger:
    """The one length for both branches whose least loss over a band is greatest."""
    low, high = float(known.lengths[0]), float(known.lengths[-1])
    best = low
    for _ in range(LOOKS):
        lengths = np.linspace(low, high, STAGGERS)
        each = known.impedance(lengths)[:, 0]
        least = arrangement.loss(each, each, frequency).min(axis=1)
        best, low, high = _around(lengths, int(np.argmax(least)))
    return staggered(known, arrangement, frequency, np.array([best, best]))


def best_stagger(known: Family, arrangement: Arrangement, frequency: FloatArray) -> Stagger:
    """The two lengths whose least loss over a band is greatest.

    Parameters
    ----------
    known : Family
        One design, at ``frequency``.
    arrangement : SamePipe or TwoPipes
    frequency : (n,) array, Hz
        The band, closely spaced.

    Returns
    -------
    Stagger
        Never worse than :func:`same_tune`, which is among the pairs compared.

    Check
    -----
    Brute force over pairs, in tests/models/length/test_pair.py.
    """
    alike = same_tune(known, arrangement, frequency)
    first_end = second_end = (float(known.lengths[0]), float(known.lengths[-1]))
    found = alike
    for _ in range(LOOKS):
        one, two = np.linspace(*first_end, STAGGERS), np.linspace(*second_end, STAGGERS)
        first, second = known.impedance(one)[:, 0], known.impedance(two)[:, 0]
        least = arrangement.loss(first[:, None], second[None, :], frequency).min(axis=2)
        i, j = divmod(int(np.argmax(least)), STAGGERS)
        here = staggered(known, arrangement, frequency, np.array([one[i], two[j]]))
        found = max(found, here, key=lambda stagger: stagger.least)
        first_end, second_end = _around(one, i)[1:], _around(two, j)[1:]
    return found


def _around(grid: FloatArray, i: int) -> tuple[float, float, float]:
    """A grid's value and those two steps to either side, within the grid."""
    last = len(grid) - 1
    return float(grid[i]), float(grid[max(i - 2, 0)]), float(grid[min(i + 2, last)])
