"""What a branch takes from each frequency, as it may be heard past other ways of the sound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from warmbranch.base.batch import RealArray

TransmissionLoss = Callable[[RealArray], RealArray]
"""From frequencies in Hz to dB."""

AREA_RATIOS = (0.5, 1.1)
"""Cross-sections of a branch over its main pipe's."""

QUALITY = 25.0
"""Of the closed form: branches of this trade have 15 to 60."""

FLANKING = (-26.0, -17.0)
"""dB. Sound that reaches the ear past the branch: the engine's own noise, the body's."""


ENDS = 0.95
"""Phase, in quarter turns about a dip, at which it ends."""

SECONDS = np.linspace(2.66, 3.02, 10)
"""Second resonance over the first: 3 in a gas of one temperature, less with a hot mouth and the
mouth's inertance."""

LEEWAY = 0.035
"""Of the logarithm: how far a third and higher dip lies off even spacing."""

DIPS = 5
"""Dips of one branch that are looked for."""

WIDTHS = (0.8, 1.0, 1.25)
"""Of a known branch's first dip over that of its transmission loss: what is heard depends on the
source and the tail pipe too; our judgement."""


PHASES = np.linspace(-ENDS, ENDS, 7601)
"""Phases at which a dip is worked out once; between them its share of power is taken as straight,
within 0.001 dB."""


@dataclass(frozen=True)
class Shape:
    """One form of a dip.

    Parameters
    ----------
    passed : (len(PHASES),) array
        Share of the power that passes the branch, at ``PHASES`` about the dip.
    narrowness : float
        Phase by which a frequency is off, over the share of the dip's own frequency.
    flanking : float, dB
    """

    passed: RealArray
    narrowness: float
    flanking: float


def quarter_wave_loss(ratio: RealArray, area_ratio: float, quality: float = QUALITY) -> RealArray:
    r"""Transmission loss of a closed branch of one temperature, dB.

    .. math:: 20 \log_{10}\left|1 + \frac{m}{2} j \tan\left(\frac{\pi}{2} \frac{f}{f_1}
        \left(1 - \frac{j}{2Q}\right)\right)\right|

    Parameters
    ----------
    ratio : array
        ``f / f1``.
    area_ratio : float
        ``m``: cross-section of the branch over the main pipe's.
    quality : float
        ``Q``.

    Source
    ------
    Munjal, Acoustics of Ducts and Mufflers (1987), as ``sound.acoustics.transmission_loss``.
    """
    tangent = np.tan(np.pi / 2 * ratio * (1 - 0.5j / quality))
    return 20 * np.log10(np.abs(1 + 0.5j * area_ratio * tangent))


@cache
def _closed_form(area_ratio: float) -> RealArray:
    return 10 ** (-quarter_wave_loss(1 + PHASES, area_ratio) / 10)


def dip_forms(narrowness: float) -> tuple[Shape, ...]:
    """Forms of one dip alone, over its own frequency, ``narrowness`` times as narrow as a first."""
    return tuple(
        Shape(_closed_form(area), narrowness, flanking)
        for area in AREA_RATIOS
        for flanking in FLANKING
    )


def forms_of(loss: TransmissionLoss, resonance: float) -> tuple[Shape, ...]:
    """Forms of the first dip of a branch whose loss is known, over its own frequency.

    Only the form of the dip is taken from a case. Where its neighbours lie is sought as if nothing
    were known: a second dip that a case has some percent off, bound to the first, would drag that
    along and make it too sure.
    """
    passed = 10 ** (-loss((1 + PHASES) * resonance) / 10)
    return tuple(Shape(passed, 1 / width, flanking) for width in WIDTHS for flanking in FLANKING)


def heard_loss(shape: Shape, ratio: RealArray, noise_share: RealArray) -> RealArray:
    """Drop in the level of orders, dB: what passes, past ways and noise as they add up in power.

    Parameters
    ----------
    shape : Shape
    ratio : (cells, ...) array
        Frequency over the dip's own.
    noise_share : array that broadcasts with ``ratio``
        Noise over the order's power without a branch.
    """
    drop = np.zeros(ratio.shape)
    phase = (ratio - 1) * shape.narrowness
    inside = np.abs(phase) < ENDS
    place = (phase[inside] + ENDS) / (PHASES[1] - PHASES[0])
    left = place.astype(np.int64)
    below, above = shape.passed[left], shape.passed[np.minimum(left + 1, len(PHASES) - 1)]
    passed = below + (above - below) * (place - left) + 10 ** (shape.flanking / 10)
    noise = np.broadcast_to(noise_share, ratio.shape)[inside]
    drop[inside] = -10 * np.log10(np.minimum(passed + noise, 1 + noise) / (1 + noise))
    return drop
