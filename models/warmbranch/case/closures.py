"""The uncertain parts of the model, each with a fixed replacement.

Every ``fixed_*`` field is NaN where the model is used and a number where the user measured it.
The coefficients are engineering assumptions: medians of wide priors, meant to be calibrated by
readings. Their priors stand beside them here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import Batched, BoolArray, FloatArray


class Prior(NamedTuple):
    """A lognormal prior: median, and the range that holds 95 % of it."""

    median: float
    low: float
    high: float


MOUTH_EXCHANGE = Prior(0.04, 0.015, 0.12)
"""``k_m``: speed with which gas is exchanged through the mouth's shear layer, over the main
pipe's bulk speed."""

STIRRING = Prior(0.018, 0.006, 0.06)
"""``S``: stirring two bores in, over main-pipe speed × bore: the firmest thing known of it."""

REACH = Prior(0.65, 0.4, 2.5)
"""``Λ``: bores over which the stirring falls by e."""

PULSATION = Prior(0.1, 0.01, 0.5)
"""``C_p``: strength of the mixing by pulsation, over ω ξ²."""

STIRRED_FILM = Prior(0.9, 0.4, 1.6)
"""``B``: what stirring adds to the inner film's Nusselt number, over ``√(D/ν)``."""

STILL_NUSSELT = 5.783185962946784
"""Nusselt number of still gas in a long tube, on the mean over the bore: the square of the first
zero of the Bessel function J₀. Exact for a wall at one temperature round the bore and a profile
that changes slowly along it: no gas flows through, so the 3.66 of flowing gas is not it."""

OUTER_FILM_FACTOR = Prior(1.0, 0.6, 1.7)
"""Outer film over its correlation: spread of correlations, shelter, neighbours."""

MOUTH_FACTOR = Prior(1.0, 0.4, 1.6)
"""Mouth correction over its no-flow value; grazing flow mostly lowers it."""

PULSATION_AUGMENTATION = Prior(1.6, 1.0, 3.0)
"""Inner film of the main pipe over that of steady flow (pulsating exhaust flow)."""


class MouthModel(IntEnum):
    """Which length correction stands at the mouth."""

    SIDE_BRANCH = 0
    FLANGED = 1
    UNFLANGED = 2


@dataclass(frozen=True)
class Closures(Batched):
    """One choice of closures for each design.

    Parameters
    ----------
    mouth_exchange : (designs,) array, dimensionless
        ``k_m``; infinite where the mouth does not resist.
    stirring, reach, pulsation : (designs,) array, dimensionless
        ``S``, ``Λ``, ``C_p``.
    stirred_film, still_nusselt : (designs,) array, dimensionless
        ``B``, and the inner film's Nusselt number without stirring.
    stanton : (designs,) array, dimensionless
        ``St*``: a further film in proportion to the mixing, as a Stanton number on ``D_mix/d``;
        0 unless asked for.
    buoyancy : (designs,) array, dimensionless
        Multiplies the buoyant counterflow; 1 for the model, 0 to leave it out.
    outer_film_factor, mouth_factor : (designs,) array, dimensionless
        Multiply the outer film and the mouth correction.
    fixed_diffusivity : (designs,) array, m²/s
        Mixing all along the branch, or NaN.
    fixed_inner_film, fixed_outer_film : (designs,) array, W/(m² K)
        Convection only, or NaN.
    fixed_mouth_length : (designs,) array, m
        Or NaN.
    mouth_model : (designs,) array of MouthModel
    wall_losses : (designs,) array of bool
        Visco-thermal losses at the bore's wall.
    """

    mouth_exchange: FloatArray
    stirring: FloatArray
    reach: FloatArray
    pulsation: FloatArray
    stirred_film: FloatArray
    still_nusselt: FloatArray
    stanton: FloatArray
    buoyancy: FloatArray
    outer_film_factor: FloatArray
    mouth_factor: FloatArray
    fixed_diffusivity: FloatArray
    fixed_inner_film: FloatArray
    fixed_outer_film: FloatArray
    fixed_mouth_length: FloatArray
    mouth_model: FloatArray
    wall_losses: BoolArray

    @classmethod
    def default(cls) -> Closures:
        """The medians of the priors, one design."""
        one, absent = np.ones(1), np.full(1, np.nan)
        return cls(
            mouth_exchange=MOUTH_EXCHANGE.median * one,
            stirring=STIRRING.median * one,
            reach=REACH.median * one,
            pulsation=PULSATION.median * one,
            stirred_film=STIRRED_FILM.median * one,
            still_nusselt=STILL_NUSSELT * one,
            stanton=0.0 * one,
            buoyancy=one,
            outer_film_factor=OUTER_FILM_FACTOR.median * one,
            mouth_factor=MOUTH_FACTOR.median * one,
            fixed_diffusivity=absent,
            fixed_inner_film=absent,
            fixed_outer_film=absent,
            fixed_mouth_length=absent,
            mouth_model=np.full(1, float(MouthModel.SIDE_BRANCH)),
            wall_losses=np.ones(1, dtype=np.bool_),
        )
