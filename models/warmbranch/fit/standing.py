"""Whether skins were read in the wind that the case tells, or standing still.

Who drives hears the drone in the wind, and mostly reads the skin with the car standing. Where
nobody says which, both are fitted, and weighed by how probable they make what was read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from warmbranch.belief.forecast import Forecast
from warmbranch.case.case import Case
from warmbranch.fit.chooser import ENOUGH
from warmbranch.fit.ensemble import FEWEST, Ensemble, PriorDraws, posterior_ensemble
from warmbranch.fit.posterior import InverseProblem, Mode
from warmbranch.fit.shared import Conditional
from warmbranch.fit.weighing import effective

WINDY = 2.0
"""m/s across the branch, from which it matters whether one stood: the films then differ by half."""

STILL = 0.5
"""m/s that move under a car that stands. Our judgement."""

BEFORE = 0.25
"""Chance that it stood, before anything is weighed: a wind that is told may be a fan's. Our
judgement."""


DECIDED = 0.005
"""Chance of the unlikelier by Laplace's approximation, which may be off by a factor of two or
three, below which it is not drawn."""


class Explored(NamedTuple):
    """A problem, its draws of the prior and its most probable set."""

    problem: InverseProblem
    prior: PriorDraws
    mode: Mode

    @classmethod
    def of(cls, problem: InverseProblem, sounding: Forecast) -> Explored:
        """Search one of a case whose draws of the prior are known as it sounds."""
        prior = PriorDraws(problem, sounding=sounding)
        return cls(problem, prior, problem.mode(prior.starts(problem)))

    @property
    def laplace(self) -> float:
        """Logarithm of the evidence, nearly."""
        return self.problem.laplace(self.mode)

    def drawn_out(self, enough: float = ENOUGH) -> Ensemble:
        """Draws of its posterior."""
        return posterior_ensemble(self.problem, self.mode, self.prior, enough)


@dataclass(frozen=True)
class Standing:
    """What the readings say of it.

    Parameters
    ----------
    chance : float
        That they were taken standing still.
    """

    chance: float

    @property
    def odds(self) -> float:
        """Of having stood, over having been in the wind."""
        return self.chance / max(1 - self.chance, 1e-9)


def calm(case: Case) -> Case | None:
    """The case as it stands still; None where that would be the same."""
    around = case.surroundings
    rear = around.rear_air_speed[np.isfinite(around.rear_from)]
    blown = max(float(around.air_speed[0]), *rear.tolist(), 0.0) >= WINDY
    if not blown or not np.isnan(case.closures.fixed_outer_film[0]):
        return None
    return case.changed(
        surroundings=around.changed(
            air_speed=np.minimum(around.air_speed, STILL),
            rear_air_speed=np.minimum(around.rear_air_speed, STILL),
        )
    )


def weighed(in_wind: Explored, stood: Explored) -> tuple[Explored, Ensemble, Standing]:
    """The likelier of both, the draws of both, and what they say.

    Parameters
    ----------
    in_wind, stood : Explored
        Of the same unknowns and the same observations, read in the one state or the other.
    """
    standing = Standing(_chance(in_wind.laplace, stood.laplace))
    likelier, other, chance = in_wind, stood, standing.chance
    if chance > 0.5:
        likelier, other, chance = stood, in_wind, 1 - chance
    if chance < DECIDED:
        return likelier, likelier.drawn_out(), standing
    # Of the unlikelier, fewer draws weigh as much.
    first, second = likelier.drawn_out(), other.drawn_out(FEWEST)
    parts = (first, second) if likelier is in_wind else (second, first)
    drawn, standing = both(*parts)
    return likelier, drawn, standing


def _chance(in_wind: float, stood: float) -> float:
    """Of having stood, by the logarithms of both evidences."""
    odds = BEFORE / (1 - BEFORE) * np.exp(np.clip(stood - in_wind, -50, 50))
    return float(odds / (1 + odds))


def both(in_wind: Ensemble, stood: Ensemble) -> tuple[Ensemble, Standing]:
    """The draws of both, weighed by their evidences."""
    chance = _chance(in_wind.log_evidence, stood.log_evidence)
    shares = (1 - chance, chance)
    parts = (in_wind, stood)
    weights = np.concatenate([s * part.weights for s, part in zip(shares, parts, strict=True)])
    joined = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in ("white", "displayed", "heard", "frequency", "position", "skin")
    }
    return replace(
        in_wind if chance < 0.5 else stood,
        **joined,
        weights=weights,
        shared=Conditional(
            *map(np.concatenate, zip(*(part.shared for part in parts), strict=True))
        ),
        log_evidence=float(
            np.logaddexp(
                np.log(1 - BEFORE) + in_wind.log_evidence, np.log(BEFORE) + stood.log_evidence
            )
        ),
        without_resonance=sum(
            s * part.without_resonance for s, part in zip(shares, parts, strict=True)
        ),
        unsolved=in_wind.unsolved + stood.unsolved,
        effective=effective(weights),
        widened=in_wind.widened or stood.widened,
        rounds=in_wind.rounds + stood.rounds,
        draws=in_wind.draws + stood.draws,
    ), Standing(chance)
