"""The uncertain parts of the model, each with a fixed replacement.

Every ``fixed_*`` field is NaN where the model is used and a number where the user measured it.
The coefficients are engineering assumptions: medians of wide priors, meant to be calibrated by
readings. Their priors stand beside them here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import Batched, BoolArray, FloatArray


class Prior(NamedTuple):
    """A lognormal prior: median, and the range that holds 95 % of it."""

    median: float
    low: float
    high: float


MOUTH_EXCHANGE = Prior(0.03, 0.013, 0.07)
"""``k_m``: speed at which gas is exchanged through the mouth's shear layer, over the main pipe's
bulk speed, without a tone. This and the next four are from our own simulation, widened for what a
simulation leaves out: fixtures/simulated/MouthExchange.toml, tests/experiments/mouth/closures.md.
0.01 to 0.04 of sharp-edged cavities in steady flow lies within, from memory."""

TONE_EXCHANGE = Prior(0.36, 0.2, 0.65)
"""``k_u``: what a tone adds to that speed, over the amplitude of the gas's velocity at the mouth.
Near 1/π, what a plug that is wholly exchanged every period would make."""

CAP_PRESSURE = Prior(1000.0, 200.0, 5000.0)
"""Pa. Amplitude of the tone at the cap of a branch that is worth building, where it is not known.
Our judgement; no source."""

STIRRING = Prior(0.02, 0.006, 0.065)
"""``C_m exp(−2/Λ)``: strength of the mouth's stirring two bores in, over main-pipe speed × bore.
It is known best there, whatever the reach; ``C_m`` is that at the mouth: see :func:`at_mouth`."""

MOST_STIRRING = 1.0
"""``C_m`` that is believed at most: eddies as large as the bore and as fast as the main pipe's gas
stir no more. Without it a short reach with a long tail would pass for gas stirred far in."""

REACH = Prior(0.75, 0.45, 2.0)
"""``Λ``: bores over which the stirring falls by e. The upper end for Habib et al. 2005
(doi 10.1115/1.1852481, fixtures/published): motion over 3 to 5 bores in dead legs; seen in the
abstract."""

STIRRED_FILM = Prior(1.0, 0.5, 2.0)
"""``B``: what stirring adds to the inner film's Nusselt number, over ``√(D/ν)``; the counterflow's
share in it is counterflow.py's."""

BUOYANCY = Prior(1.1, 0.5, 2.4)
"""The buoyant counterflow over that of counterflow.py. To give the heat and the temperatures of our
own simulation (fixtures/simulated/BuoyantTube.toml) it wants 0.9 to 1.2 in level tubes at Ra 1e5
to 1e6, 1.3 to 2.1 at 3e4 and 3e6, 0.6 to 2.4 in most that rise or fall; widened little, as the
film that goes with it has a prior of its own."""

PULSATION = Prior(0.1, 0.01, 0.5)
"""``C_p``, where it is given in place of that of laminar layers: mixing by pulsation, over ω ξ²."""

SHARPNESS = Prior(1.0, 0.5, 3.0)
"""``s`` of ``exp[−(x/(Λ d))^s]``: 1 decays exponentially, 3 ends abruptly, below 1 a long tail
stays. The form is ours; the range holds what closed branches in water and air show."""

STANTON = Prior(0.01, 0.003, 0.03)
"""``St*``, where it is given: inner film in proportion to the mixing, as a Stanton number on
``D_mix/d``."""

FLOWING_NUSSELT = 3.66
"""Nusselt number of gas that flows through, laminar and developed: 3.6568 exactly, and 3.66 in the
correlations of nusselt.py."""

STILL_NUSSELT = 5.783185962946784
"""Nusselt number of still gas in a long tube, on the mean over the bore: the square of the first
zero of the Bessel function J₀. Exact for a wall at one temperature round the bore and a profile
that changes slowly along it."""

OUTER_FILM_FACTOR = Prior(1.0, 0.6, 1.7)
"""Outer film over its correlation: spread of correlations, shelter, neighbours."""

MOUTH_FACTOR = Prior(1.0, 0.4, 1.6)
"""Mouth correction over its value without flow. What the flow takes is taken off it besides
(sound/mouth.py); the width is for the lip's shape, an angle, strong tones, and for that form, which
one simulation made. Our judgement."""

FLOW_LOSS = Prior(0.4, 0.1, 1.0)
"""``k_f``: resistance of the mouth by the flow that grazes it, over ρ c times the main pipe's Mach
number. That it goes as a loss coefficient times the Mach number in slow tones, of a side branch as
wide as its pipe: SAE 2009-01-2043, seen in the abstract. In our own simulation
(fixtures/simulated/MouthMass.toml) 0.25 to 0.55 below a Strouhal number of 0.3, falling to nothing
at 0.35. From memory: 0.3 to 0.5 of perforated pipes (Rice 1971, Bauer 1977, Rao & Munjal 1986), and
up to the ratio of sections from the losses of a dividing and a joining T. In whistling flow it may
be less than nothing: there the loss may be greater than told, and the tone loud."""

LEVEL_LOSS = Prior(0.8, 0.3, 2.0)
"""``K``: kinetic energy that the tone's own motion loses at the mouth, over that of the gas as it
passes, the mean of going out (a free jet, 1) and in (0.05 rounded to 0.5 sharp, 1 where the tube
sticks out). Handbook losses, quasi-steady; Ingard & Ising 1967, Disselhorst & van Wijngaarden
1980, Atig, Dalmont & Gilbert 2004 found of this order; all from memory. 0.67 in our own simulation,
sharp, in gas that goes 0.8 of a bore to and fro."""

TONE = Prior(1.0, 0.989, 1.011)
"""True first resonance over that of the model at the right temperatures and length: what deposits,
a dented tube, and at the mouth whatever its own factor does not hold, do to it. Our judgement; no
source."""

PULSATION_AUGMENTATION = Prior(1.6, 1.0, 3.0)
"""Inner film of the main pipe over that of steady flow (pulsating exhaust flow)."""


def at_mouth(two_bores_in: FloatArray, reach: FloatArray) -> FloatArray:
    """Strength of the stirring at the mouth, ``C_m``, from that two bores in.

    >>> at_mouth(np.array([0.02]), np.array([0.75])).round(3)
    array([0.288])
    """
    return two_bores_in * np.exp(2 / reach)


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
    mouth_exchange, tone_exchange : (designs,) array, dimensionless
        ``k_m``, ``k_u``; the former infinite where the mouth does not resist.
    stirring, reach : (designs,) array, dimensionless
        ``C_m``, ``Λ``.
    pulsation : (designs,) array, dimensionless
        ``C_p``, or NaN for that of laminar layers.
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
        Multiply the outer film and the mouth correction without flow.
    fixed_diffusivity : (designs,) array, m²/s
        Mixing all along the branch, or NaN.
    fixed_inner_film, fixed_outer_film : (designs,) array, W/(m² K)
        Convection only, or NaN.
    fixed_mouth_length : (designs,) array, m
        Or NaN.
    mouth_model : (designs,) array of MouthModel
    wall_losses : (designs,) array of bool
        Visco-thermal losses at the bore's wall.
    flow_loss, level_loss : (designs,) array, dimensionless
        ``k_f``, ``K``: what resists at the mouth, by the flow past it and by the tone's own level.
    gas_radiation : (designs,) array, dimensionless
        Multiplies what carbon dioxide and water exchange with the bore's wall by radiation; 0 for a
        transparent gas. Not looked at where the inner film is fixed.
    mouth_flow : (designs,) array, dimensionless
        Multiplies what the main pipe's flow takes off the mouth correction; 0 leaves it out.
    condensation : (designs,) array of bool
        Whether vapour condenses on a wall below its dew point, warms it and leaves drier gas.
    """

    mouth_exchange: FloatArray
    tone_exchange: FloatArray
    stirring: FloatArray
    reach: FloatArray
    sharpness: FloatArray
    pulsation: FloatArray
    stirred_film: FloatArray
    still_nusselt: FloatArray
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
    flow_loss: FloatArray
    level_loss: FloatArray
    gas_radiation: FloatArray = field(default_factory=lambda: np.ones(1))
    mouth_flow: FloatArray = field(default_factory=lambda: np.ones(1))
    condensation: BoolArray = field(default_factory=lambda: np.ones(1, dtype=np.bool_))

    @classmethod
    def default(cls) -> Closures:
        """The medians of the priors, one design."""
        one, absent = np.ones(1), np.full(1, np.nan)
        reach = REACH.median * one
        return cls(
            mouth_exchange=MOUTH_EXCHANGE.median * one,
            tone_exchange=TONE_EXCHANGE.median * one,
            stirring=at_mouth(STIRRING.median * one, reach),
            reach=reach,
            sharpness=SHARPNESS.median * one,
            pulsation=absent,
            stirred_film=STIRRED_FILM.median * one,
            still_nusselt=STILL_NUSSELT * one,
            stanton=0.0 * one,
            buoyancy=BUOYANCY.median * one,
            outer_film_factor=OUTER_FILM_FACTOR.median * one,
            mouth_factor=MOUTH_FACTOR.median * one,
            tone=TONE.median * one,
            fixed_diffusivity=absent,
            fixed_inner_film=absent,
            fixed_outer_film=absent,
            fixed_mouth_length=absent,
            mouth_model=np.full(1, float(MouthModel.SIDE_BRANCH)),
            wall_losses=np.ones(1, dtype=np.bool_),
            flow_loss=FLOW_LOSS.median * one,
            level_loss=LEVEL_LOSS.median * one,
        )
