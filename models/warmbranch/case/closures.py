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


STIRRING = Prior(0.15, 0.03, 0.8)
"""``C_m``: strength of the mouth's stirring, over main-pipe speed × bore."""

REACH = Prior(10.0, 4.0, 40.0)
"""``Λ``: reach of the stirring, in bores."""

PULSATION = Prior(0.1, 0.01, 0.5)
"""``C_p``: strength of the mixing by pulsation, over ω ξ²."""

SHARPNESS = Prior(1.0, 0.5, 3.0)
"""``s`` of ``exp[−(x/(Λ d))^s]``: 1 decays exponentially, 3 ends abruptly, below 1 a long tail
stays. The form is ours; the range holds what closed branches in water and air show."""

STANTON = Prior(0.01, 0.003, 0.03)
"""``St*``: inner film that goes with mixing, as a Stanton number on ``D_mix/d``."""

OUTER_FILM_FACTOR = Prior(1.0, 0.6, 1.7)
"""Outer film over its correlation: spread of correlations, shelter, neighbours."""

MOUTH_FACTOR = Prior(1.0, 0.4, 1.6)
"""Mouth correction over its no-flow value; grazing flow mostly lowers it."""

TONE = Prior(1.0, 0.987, 1.013)
"""True first resonance over that of the model at the right temperatures: what flow at the mouth,
deposits, a dented tube and the measured length do to it. Our judgement; no source."""

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
    stirring, reach, pulsation, stanton : (designs,) array, dimensionless
        ``C_m``, ``Λ``, ``C_p``, ``St*``.
    sharpness : (designs,) array, dimensionless
        Of the end of the stirring: ``D = C_m U d exp[−(x/(Λ d))^sharpness]``.
    tone : (designs,) array, dimensionless
        True tones over those of the model: acoustic lengths are divided by it. 1 but for what a
        calibration has learned.
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

    stirring: FloatArray
    reach: FloatArray
    sharpness: FloatArray
    pulsation: FloatArray
    stanton: FloatArray
    buoyancy: FloatArray
    outer_film_factor: FloatArray
    mouth_factor: FloatArray
    tone: FloatArray
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
            stirring=STIRRING.median * one,
            reach=REACH.median * one,
            sharpness=SHARPNESS.median * one,
            pulsation=PULSATION.median * one,
            stanton=STANTON.median * one,
            buoyancy=one,
            outer_film_factor=OUTER_FILM_FACTOR.median * one,
            mouth_factor=MOUTH_FACTOR.median * one,
            tone=TONE.median * one,
            fixed_diffusivity=absent,
            fixed_inner_film=absent,
            fixed_outer_film=absent,
            fixed_mouth_length=absent,
            mouth_model=np.full(1, float(MouthModel.SIDE_BRANCH)),
            wall_losses=np.ones(1, dtype=np.bool_),
        )
