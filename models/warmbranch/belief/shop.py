"""What several finished jobs say of the next one, and where it holds.

The coefficients of the mouth, of the films and of the model itself are much the same from job to
job and partly differ. What jobs say of them stands in place of the usual priors; gas temperature,
flow, air and paint are of one job and keep the priors of the case that is asked about.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import CAP_PRESSURE_SPREAD, Gaussian, Spreads, log_spread
from warmbranch.case import closures
from warmbranch.case.case import Case
from warmbranch.case.closures import Prior

_PRIORS: dict[str, Prior] = {
    "mouth_exchange": closures.MOUTH_EXCHANGE,
    "tone_exchange": closures.TONE_EXCHANGE,
    "stirring": closures.STIRRING,
    "reach": closures.REACH,
    "sharpness": closures.SHARPNESS,
    "pulsation": closures.PULSATION,
    "buoyancy": closures.BUOYANCY,
    "stirred_film": closures.STIRRED_FILM,
    "stanton": closures.STANTON,
    "outer_film_factor": closures.OUTER_FILM_FACTOR,
    "mouth_factor": closures.MOUTH_FACTOR,
    "tone": closures.TONE,
}


def _usual(name: str, prior: Prior) -> Gaussian:
    own = log_spread(prior)
    # With the tone's pressure, as where that is not known: they act as a product.
    spread = math.hypot(own, CAP_PRESSURE_SPREAD) if name == "tone_exchange" else own
    return Gaussian(math.log(prior.median), spread)


USUAL: dict[str, Gaussian] = {name: _usual(name, prior) for name, prior in _PRIORS.items()}
"""Of the physics, by name, before any job: what a shop learns about, in each one's coordinate."""

SAME = 0.99
"""Share of the usual spread from which a case's unknown is the shop's. A case whose own prior is
narrower knows better by other means, as one whose tone is measured does."""

NEAR = 3.0
"""Usual spreads within which a case's own coefficient is still the shop's. Who gives another one
tells of something else, which is narrowed by no job."""

RATIO = 3.0
"""Times beyond the range of what was learned on, in bore, length or flow, at which nothing that
was learned is believed any more. Our judgement; no source."""

KELVINS = 200.0
"""The same of the gas temperature, K."""


@dataclass(frozen=True)
class JobTraits:
    """What a job was, as far as learning asks.

    Parameters
    ----------
    bore, length : float, m
    gas_temperature : float, K
    mass_flow : float, kg/s
    """

    bore: float
    length: float
    gas_temperature: float
    mass_flow: float

    @classmethod
    def of(cls, case: Case) -> JobTraits:
        """Of one design."""
        pipe = case.main_pipe
        return cls(
            *(
                float(value[0])
                for value in (
                    case.branch.bore,
                    case.branch.length,
                    pipe.gas_temperature,
                    pipe.mass_flow,
                )
            )
        )


@dataclass(frozen=True)
class Ranges:
    """What a shop has learned on, least and most of each."""

    low: JobTraits
    high: JobTraits

    def distrust(self, place: JobTraits) -> dict[str, float]:
        """How little what was learned is believed at a place: 0 within, 1 far outside; by name."""
        found: dict[str, float] = {}
        for name in ("bore", "length", "mass_flow"):
            low, high, here = (getattr(one, name) for one in (self.low, self.high, place))
            beyond = 1.0 if here <= high else math.inf if high <= 0 else here / high
            short = 1.0 if here >= low else math.inf if here <= 0 else low / here
            found[name] = min(1.0, math.log(max(beyond, short)) / math.log(RATIO))
        low, high = self.low.gas_temperature, self.high.gas_temperature
        beyond = max(place.gas_temperature - high, low - place.gas_temperature, 0.0)
        found["gas_temperature"] = min(1.0, beyond / KELVINS)
        return found


@dataclass(frozen=True)
class Shop:
    """What finished jobs say of the next.

    Parameters
    ----------
    learned : Calibration
        Of the next job's unknowns of the physics: keys of ``USUAL``.
    ranges : Ranges
        What it was learned on.
    """

    learned: Calibration
    ranges: Ranges

    def distrust(self, case: Case, place: JobTraits | None = None) -> float:
        """How little what was learned is believed of one design: 0 within the ranges, up to 1."""
        return max(self.ranges.distrust(place or JobTraits.of(case)).values())

    def of(
        self, case: Case, spreads: Spreads | None = None, place: JobTraits | None = None
    ) -> Calibration:
        """What is believed of one design: what was learned, and its own priors for the rest.

        Outside the ranges it is, with the distrust's chance, what is believed without a shop: mean
        and covariance are those of the two together. ``place`` goes for the design's own, where
        that is only where a search begins.
        """
        prior = Calibration.prior(case, spreads)
        own, theirs = self._shared(prior)
        mean, covariance = prior.mean.copy(), prior.covariance.copy()
        rest = self.distrust(case, place)
        usual = np.array([USUAL[prior.names[i]].spread for i in own])
        more = np.maximum(prior.spread[own] ** 2 - usual**2, 0.0)
        block = self.learned.covariance[np.ix_(theirs, theirs)] + np.diag(more)
        shared = prior.mean - of_the_gas(prior.names, spreads or Spreads())
        away: FloatArray = self.learned.mean[theirs] - shared[own]
        mean[own] += (1 - rest) * away
        covariance[np.ix_(own, own)] *= rest
        covariance[np.ix_(own, own)] += (1 - rest) * (block + rest * np.outer(away, away))
        return Calibration(prior.names, mean, covariance)

    def _shared(self, prior: Calibration) -> tuple[list[int], list[int]]:
        """Places, in a case's prior and in what was learned, of the unknowns that both have."""
        names = self.learned.names
        own = [i for i, name in enumerate(prior.names) if name in names and is_usual(prior, i)]
        return own, [names.index(prior.names[i]) for i in own]


def of_the_gas(names: Sequence[str], spreads: Spreads) -> FloatArray:
    """What a gas that was not told adds to a case's means, (unknowns,): of one job alone."""
    return np.array([spreads.composition_shift * (name == "tone") for name in names])


def is_usual(prior: Calibration, i: int) -> bool:
    """Whether an unknown of a case's prior is one that jobs share."""
    usual = USUAL.get(prior.names[i])
    if usual is None:
        return False
    near = abs(float(prior.mean[i]) - usual.centre) <= NEAR * usual.spread
    return near and float(prior.spread[i]) >= SAME * usual.spread
