"""What a branch takes from each frequency, as it may be heard past other ways of the sound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray

TransmissionLoss = Callable[[FloatArray], FloatArray]
"""From frequencies in Hz to dB."""

AREA_RATIOS = (0.5, 1.1)
"""Cross-sections of a branch over its main pipe's."""

QUALITY = 25.0
"""Of the closed form: branches of this trade have 15 to 60."""

FLANKING = (-26.0, -17.0)
"""dB. Sound that reaches the ear past the branch: the engine's own noise, the body's."""


SECONDS = (2.68, 2.76, 2.84, 2.92, 3.0)
"""Second resonance over the first: 3 in a gas of one temperature, less with a hot mouth and the
mouth's inertance. A known branch has its own."""


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


def quarter_wave_loss(ratio: FloatArray, area_ratio: float, quality: float = QUALITY) -> FloatArray:
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


def closed_forms() -> tuple[Shape, ...]:
    """Forms of a branch of which nothing is known: width, neighbours, what passes it by."""

    def of(area_ratio: float, second: float) -> TransmissionLoss:
        def loss(ratio: FloatArray) -> FloatArray:
            # The phase of the closed tube, bent so that its second dip lies where it does.
            phase = np.where(ratio < 1, ratio, 1 + 2 * (ratio - 1) / (second - 1))
            return quarter_wave_loss(phase, area_ratio)

        return loss

    return tuple(
        Shape(of(area, second), flanking)
        for area in AREA_RATIOS
        for second in SECONDS
        for flanking in FLANKING
    )


def forms_of(loss: TransmissionLoss, resonance: float) -> tuple[Shape, ...]:
    """Forms for a branch whose loss is known and whose resonance is sought about ``resonance``."""

    def scaled(ratio: FloatArray) -> FloatArray:
        return loss(ratio * resonance)

    return tuple(Shape(scaled, flanking) for flanking in FLANKING)


def heard_loss(shape: Shape, ratio: FloatArray, noise_share: FloatArray) -> FloatArray:
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
