"""Branches that differ in length alone: solved at a few lengths, known at all between them.

What is interpolated is the reflection at the mouth, whose magnitude and phase are almost straight
in the length, unlike the impedance with its poles and zeros.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import ComplexArray, FloatArray
from warmbranch.case.case import Case
from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch.length.length_for_tone import with_length
from warmbranch.sound import acoustics
from warmbranch.steady.solve import solve


@dataclass(frozen=True)
class Family:
    """The reflection of each design at its frequencies, at a few lengths.

    Parameters
    ----------
    lengths : (n,) array, m
        Rising; the same for all designs.
    log_magnitude, phase : (n, designs, frequencies) array; dimensionless, rad
        Of ``(Z₀ − Z)/(Z₀ + Z)``, Z₀ being ρ c / S of the gas at the mouth.
    own_impedance, main_impedance : (designs,) array, Pa s/m³
        Z₀; and ρ c / S of the main pipe.
    """

    lengths: FloatArray
    log_magnitude: FloatArray
    phase: FloatArray
    own_impedance: FloatArray
    main_impedance: FloatArray

    def impedance(self, length: FloatArray) -> ComplexArray:
        """Input impedance, mouth included, (m, designs, frequencies), at (m,) lengths, m."""
        weights = _lagrange(self.lengths, length)
        shape = (len(length), *self.phase.shape[1:])
        flat = weights @ self.log_magnitude.reshape(len(weights[0]), -1)
        turned = weights @ self.phase.reshape(len(weights[0]), -1)
        reflection: ComplexArray = np.exp(flat + 1j * turned).reshape(shape)
        with np.errstate(divide="ignore", invalid="ignore"):  # a lossless branch reaches zero
            impedance: ComplexArray = (1 - reflection) / (1 + reflection)
        return impedance * self.own_impedance[:, None]

    def transmission_loss(self, length: FloatArray) -> FloatArray:
        """Transmission loss, (m, designs, frequencies), dB, at (m,) lengths, m."""
        with np.errstate(divide="ignore"):
            return acoustics.transmission_loss(self.impedance(length), self.main_impedance[:, None])


def family(
    case: Case,
    shortest: float,
    longest: float,
    frequency: FloatArray,
    *,
    count: int = 7,
    nodes: int = DEFAULT_NODES,
) -> Family:
    """Solve a batch at ``count`` lengths, all at once.

    Parameters
    ----------
    case : Case
    shortest, longest : float, m
        Of the lengths to be known; within the admissible range.
    frequency : (designs, n) array, Hz
    count : int
        Lengths solved, ``>= 2``.
    nodes : int

    Returns
    -------
    Family

    Valid for
    ---------
    Lengths between ``shortest`` and ``longest``. Seven lengths over a factor of two hold a
    transmission loss of up to 10 dB within 0.15 dB, four over 8 % any within 0.002 dB; each length
    more divides the error by three or four.

    Check
    -----
    Against solutions between the lengths, in tests/models/length/test_family.py.

    Notes
    -----
    The lengths are Chebyshev–Lobatto points, which keeps interpolation by one polynomial tame.
    """
    designs = len(case)
    points = np.cos(np.pi * np.arange(count - 1, -1, -1) / (count - 1))
    lengths = (shortest + longest) / 2 + (longest - shortest) / 2 * points
    lengths[0], lengths[-1] = shortest, longest
    which = np.tile(np.arange(designs), count)
    answer = solve(with_length(case.take(which), np.repeat(lengths, designs)), nodes=nodes)
    tone = frequency[which]
    own = answer.own_impedance  # which no length changes
    impedance = answer.impedance(tone)
    reflection = (own[:, None] - impedance) / (own[:, None] + impedance)
    shape = (count, designs, frequency.shape[1])
    expected = (-4 * np.pi * answer.duct.transit_time[:, None] * tone).reshape(shape)
    return Family(
        lengths=lengths,
        log_magnitude=np.log(np.abs(reflection)).reshape(shape),
        phase=_unwrapped(np.angle(reflection).reshape(shape), expected),
        own_impedance=own[:designs],
        main_impedance=answer.main_impedance[:designs],
    )


def _unwrapped(phase: FloatArray, expected: FloatArray) -> FloatArray:
    """Phases that change from length to length about as much as expected, by whole turns."""
    change, wanted = np.diff(phase, axis=0), np.diff(expected, axis=0)
    change = change - 2 * np.pi * np.round((change - wanted) / (2 * np.pi))
    return np.concatenate([phase[:1], phase[:1] + np.cumsum(change, axis=0)])


def _lagrange(known: FloatArray, wanted: FloatArray) -> FloatArray:
    """Weights of the values at ``known`` for those at ``wanted``, (wanted, known)."""
    weights = np.ones((len(wanted), len(known)))
    for i, own in enumerate(known):
        for j, other in enumerate(known):
            if i != j:
                weights[:, i] *= (wanted - other) / (own - other)
    return weights
