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
"""``Λ``: bores over which the stirring falls by e."""

PULSATION = Prior(0.1, 0.01, 0.5)
"""``C_p``: strength of the mixing by pulsation, over ω ξ²."""

SHARPNESS = Prior(1.0, 0.5, 3.0)
"""``s`` of ``exp[−(x/(Λ d))^s]``: 1 decays exponentially, 3 ends abruptly, below 1 a long tail
stays. The form is ours; the range holds what closed branches in water and air show."""

STANTON = Prior(0.01, 0.003, 0.03)
"""``St*``: inner film that goes with mixing, as a Stanton number on ``D_mix/d``."""

FLOWING_NUSSELT = 3.66
"""Nusselt number of gas that flows through, laminar and developed: see nusselt.py."""

STILL_NUSSELT = 5.783185962946784
"""Nusselt number of still gas in a long tube, on the mean over the bore: the square of the first
zero of the Bessel function J₀. Exact for a wall at one temperature round the bore and a profile
that changes slowly along it."""

SIMULATED_EXCHANGE = Prior(0.08, 0.03, 0.3)
"""``k_m``: speed at which gas is exchanged through the mouth's shear layer, over the main pipe's
bulk speed, with the tone that makes a branch worth building. Our own simulation, widened:
fixtures/simulated/MouthExchange.toml and tests/experiments/mouth/closures.md, as the next three."""

SIMULATED_STIRRING = Prior(0.02, 0.006, 0.065)
"""``C_m exp(−2/Λ)``: stirring two bores in, where it is known best whatever its reach."""

SIMULATED_REACH = Prior(0.75, 0.45, 2.0)

SIMULATED_FILM = Prior(1.0, 0.5, 2.0)
"""``B``: what stirring adds to the inner film's Nusselt number, over ``√(D/ν)``."""

OUTER_FILM_FACTOR = Prior(1.0, 0.6, 1.7)
"""Outer film over its correlation: spread of correlations, shelter, neighbours."""

EXPOSURE_SLOPE_SPREAD = 0.5
"""One standard deviation of ``exposure_slope``, about none: an end of the branch in the wind and
the other in the lee lose up to 2.7 times as unlike. Our judgement; no source."""

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
    mouth_exchange : (designs,) array, dimensionless
        ``k_m``; infinite where the mouth does not resist.
    stirring, reach, pulsation : (designs,) array, dimensionless
        ``C_m``, ``Λ``, ``C_p``.
    stirred_film, still_nusselt : (designs,) array, dimensionless
        ``B``, and the inner film's Nusselt number without stirring.
    stanton : (designs,) array, dimensionless
        ``St*``: film in proportion to the mixing, as a Stanton number on ``D_mix/d``.
    sharpness : (designs,) array, dimensionless
        Of the end of the stirring: ``D = C_m U d exp[−(x/(Λ d))^sharpness]``.
    tone : (designs,) array, dimensionless
        True tones over those of the model: acoustic lengths are divided by it. 1 but for what a
        calibration has learned.
    buoyancy : (designs,) array, dimensionless
        Multiplies the buoyant counterflow; 1 for the model, 0 to leave it out.
    outer_film_factor, mouth_factor : (designs,) array, dimensionless
        Multiply the outer film and the mouth correction.
    exposure_slope : (designs,) array, dimensionless
        ``b``: what the skin loses, by convection and radiation, is ``exp[b (x/L − ½)]`` times that
        of the model. 0 but for what a calibration has learned.
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
    sharpness: FloatArray
    pulsation: FloatArray
    stirred_film: FloatArray
    still_nusselt: FloatArray
    stanton: FloatArray
    buoyancy: FloatArray
    outer_film_factor: FloatArray
    exposure_slope: FloatArray
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
            mouth_exchange=np.inf * one,
            stirring=STIRRING.median * one,
            reach=REACH.median * one,
            sharpness=SHARPNESS.median * one,
            pulsation=PULSATION.median * one,
            stirred_film=0.0 * one,
            still_nusselt=FLOWING_NUSSELT * one,
            stanton=STANTON.median * one,
            buoyancy=one,
            outer_film_factor=OUTER_FILM_FACTOR.median * one,
            exposure_slope=0.0 * one,
            mouth_factor=MOUTH_FACTOR.median * one,
            tone=TONE.median * one,
            fixed_diffusivity=absent,
            fixed_inner_film=absent,
            fixed_outer_film=absent,
            fixed_mouth_length=absent,
            mouth_model=np.full(1, float(MouthModel.SIDE_BRANCH)),
            wall_losses=np.ones(1, dtype=np.bool_),
        )

    @classmethod
    def simulated(cls) -> Closures:
        """The medians that our own simulation of the stirred mouth suggests, one design.

        The mouth resists, stirring dies away within some bores, and the gas beyond is still. Not
        yet the default: see tests/experiments/mouth/closures.md.
        """
        one = np.ones(1)
        return cls.default().changed(
            mouth_exchange=SIMULATED_EXCHANGE.median * one,
            stirring=SIMULATED_STIRRING.median * np.exp(2 / SIMULATED_REACH.median) * one,
            reach=SIMULATED_REACH.median * one,
            stirred_film=SIMULATED_FILM.median * one,
            still_nusselt=STILL_NUSSELT * one,
            stanton=0.0 * one,
        )
