"""What a branch takes from each frequency, as it may be heard past other ways of the sound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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


@dataclass(frozen=True)
class Shape:
    """One form of a notch.

    Parameters
    ----------
    loss : callable
        Transmission loss, dB, at frequencies over that of the first resonance.
    flanking : float, dB
    """

    loss: TransmissionLoss
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


def dip_forms(narrowness: float) -> tuple[Shape, ...]:
    """Forms of one dip alone, over its own frequency, ``narrowness`` times as narrow as a first."""

    def of(area_ratio: float) -> TransmissionLoss:
        def loss(ratio: RealArray) -> RealArray:
            phase = (ratio - 1) * narrowness
            inside = np.abs(phase) < ENDS
            bent = quarter_wave_loss(1 + np.where(inside, phase, 0), area_ratio)
            return np.where(inside, bent, 0)

        return loss

    return tuple(Shape(of(area), flanking) for area in AREA_RATIOS for flanking in FLANKING)


def forms_of(loss: TransmissionLoss, resonance: float) -> tuple[Shape, ...]:
    """Forms of the first dip of a branch whose loss is known, over its own frequency.

    Only the form of the dip is taken from a case. Where its neighbours lie is sought as if nothing
    were known: a second dip that a case has some percent off, bound to the first, would drag that
    along and make it too sure.
    """

    def of(width: float) -> TransmissionLoss:
        def scaled(ratio: RealArray) -> RealArray:
            phase = (ratio - 1) / width
            inside = np.abs(phase) < ENDS
            return np.where(inside, loss((1 + np.where(inside, phase, 0)) * resonance), 0)

        return scaled

    return tuple(Shape(of(width), flanking) for width in WIDTHS for flanking in FLANKING)


def heard_loss(shape: Shape, ratio: RealArray, noise_share: RealArray) -> RealArray:
    """Drop in the level of orders, dB: what passes, past ways and noise as they add up in power.

    Parameters
    ----------
    shape : Shape
    ratio : (cells, ...) array
        Frequency over the resonance.
    noise_share : array that broadcasts with ``ratio``
        Noise over the order's power without a branch.
    """
    passed = 10 ** (-shape.loss(ratio) / 10) + 10 ** (shape.flanking / 10)
    return -10 * np.log10(np.minimum(passed + noise_share, 1 + noise_share) / (1 + noise_share))
