"""In which state skins were read: as the case tells, standing still, or at idle.

Who drives hears the drone in the wind with the gas hot, and mostly reads the skin with the car
standing, perhaps at idle. Where nobody says which, all are fitted, and weighed by how probable they
make what was read.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.forecast import Forecast
from warmbranch.case.case import Case
from warmbranch.fit.chooser import ENOUGH
from warmbranch.fit.ensemble import (
    FEWEST,
    Ensemble,
    PriorDraws,
    posterior_ensemble,
    side_by_side,
)
from warmbranch.fit.posterior import InverseProblem, Mode
from warmbranch.fit.weighing import effective

WINDY = 2.0
"""m/s across the branch, from which it matters whether one stood: the films then differ by half."""

STILL = 0.5
"""m/s that move under a car that stands. Our judgement."""

IDLE_GAS, IDLE_FLOW, IDLE_TONE = 0.6, 0.4, 0.3
"""Of the gas's excess over the air, the flow and the tone at the cap, what an engine at idle keeps
of what it has while it drones. Our judgement."""

STOOD, IDLED, STOOD_AND_IDLED = 1 / 3, 1 / 6, 1 / 8
"""Odds of each over all being as the case tells, before anything is weighed: a wind that is told
may be a fan's, and who tells the gas may have read at the same load. Our judgement."""

DOUBTED = 1.0
"""How strained a fit is (``posterior.py``) from which idling is thought of: half of honest ones are
less so, and of those that were read at half of the gas's excess one in eight."""

DECIDED = 0.005
"""Chance of an unlikelier state by Laplace's approximation, which may be off by a factor of two or
three, below which it is not drawn."""


SPARE = 6.0
"""By how much less another state's ln(probability) at its best may be, and it be worth drawing."""

NEARLY = 0.3
"""Rise of ln(probability) that is not worth a step there: the best set only guides the draws."""


class Explored(NamedTuple):
    """A problem, its draws of the prior and its most probable set."""

    problem: InverseProblem
    prior: PriorDraws
    mode: Mode

    @classmethod
    def of(cls, problem: InverseProblem, sounding: Forecast, least: float) -> Explored:
        """Search one of a case whose draws of the prior are known as it sounds.

        Not far where ``least``, a logarithm as of :meth:`InverseProblem.at_best`, is out of reach.
        """
        prior = PriorDraws(problem, sounding=sounding)
        starts = prior.starts(problem, least=least)
        return cls(problem, prior, problem.mode(starts, NEARLY, least=least))

    @property
    def laplace(self) -> float:
        """Logarithm of the evidence, nearly."""
        return self.problem.laplace(self.mode)

    def drawn_out(self, enough: float = ENOUGH) -> Ensemble:
        """Draws of its posterior."""
        return posterior_ensemble(self.problem, self.mode, self.prior, enough)


@dataclass(frozen=True)
class Standing:
    """What the readings say of having stood.

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


@dataclass(frozen=True)
class AsRead:
    """What the readings say of the state that nobody told.

    Parameters
    ----------
    standing : Standing or None
        None where the case tells of no wind.
    idling : float
        Chance that the engine idled.
    """

    standing: Standing | None
    idling: float


def wind(case: Case) -> float:
    """Air across one design where it is fastest, m/s."""
    around = case.surroundings
    rear = around.rear_air_speed[np.isfinite(around.rear_from)]
    return max(float(around.air_speed[0]), *rear.tolist(), 0.0)


def calm(case: Case) -> Case | None:
    """The case as it stands still; None where that would be the same."""
    around = case.surroundings
    if wind(case) < WINDY or not np.isnan(case.closures.fixed_outer_film[0]):
        return None
    return case.changed(
        surroundings=around.changed(
            air_speed=np.minimum(around.air_speed, STILL),
            rear_air_speed=np.minimum(around.rear_air_speed, STILL),
        )
    )


def idling(case: Case) -> Case | None:
    """The case with its engine at idle; None where no hot gas flows."""
    pipe, air = case.main_pipe, case.surroundings.air_temperature
    if not (pipe.mass_flow[0] > 0 and pipe.gas_temperature[0] > air[0]):
        return None
    return case.changed(
        main_pipe=pipe.changed(
            gas_temperature=air + IDLE_GAS * (pipe.gas_temperature - air),
            skin_temperature=air + IDLE_GAS * (pipe.skin_temperature - air),
            mass_flow=IDLE_FLOW * pipe.mass_flow,
            cap_pressure=IDLE_TONE * pipe.cap_pressure,
            incident_pressure=IDLE_TONE * pipe.incident_pressure,
        )
    )


class _Weighed(NamedTuple):
    """A state as it was explored, its odds before anything is weighed, and whether it idles."""

    explored: Explored
    odds: float
    idles: bool


def weighed(
    told: Explored, case: Case, explore: Callable[[Case, float], Explored | None]
) -> tuple[Explored, Ensemble, AsRead]:
    """The likeliest state, the draws of all, and what they say.

    Parameters
    ----------
    told : Explored
        As the case tells.
    case : Case
    explore : callable
        From another state, and the least that makes it worth while, to the same observations
        read in it; None where it has no solution.
    """
    found = [_Weighed(told, 1.0, idles=False)]
    least = told.problem.at_best(told.mode) - SPARE
    still = calm(case)
    if still is not None and (stood := explore(still, least)) is not None:
        found.append(_Weighed(stood, STOOD, idles=False))
    likeliest = found[int(np.argmax(_chances(found, [one.explored.laplace for one in found])))]
    problem, _, mode = likeliest.explored
    least, strained = problem.at_best(mode) - SPARE, problem.strain(mode) >= DOUBTED
    idler = idling(case if still is None else still) if strained else None
    if idler is not None and (idled := explore(idler, least)) is not None:
        found.append(_Weighed(idled, IDLED if still is None else STOOD_AND_IDLED, idles=True))
    chances = _chances(found, [one.explored.laplace for one in found])
    best = found[int(np.argmax(chances))]
    kept = [one for one, chance in zip(found, chances, strict=True) if chance >= DECIDED]
    # Of the unlikelier, fewer draws weigh as much.
    drawn = [one.explored.drawn_out(ENOUGH if one is best else FEWEST) for one in kept]
    if len(kept) > 1:
        found, chances = kept, _chances(kept, [one.log_evidence for one in drawn])
    at_idle = np.array([one.idles for one in found])
    as_told = np.array([one.explored is told for one in found])
    return (
        best.explored,
        mixed(drawn, chances if len(kept) > 1 else np.ones(1)),
        AsRead(
            None if still is None else Standing(float(np.sum(chances[~as_told]))),
            float(np.sum(chances[at_idle])),
        ),
    )


def _chances(states: Sequence[_Weighed], log_evidence: Sequence[float]) -> FloatArray:
    """Of states, by Bayes, from the logarithms of their evidences."""
    value = np.log([one.odds for one in states]) + np.array(log_evidence)
    weights: FloatArray = np.exp(value - np.max(value))
    return weights / np.sum(weights)


def mixed(parts: Sequence[Ensemble], chances: FloatArray) -> Ensemble:
    """The draws of several states, and what is told of the drawing of all."""
    if len(parts) == 1:
        return parts[0]
    drawn, likeliest = side_by_side(parts, chances), parts[int(np.argmax(chances))]
    return replace(
        drawn,
        log_evidence=likeliest.log_evidence,
        laplace_share=likeliest.laplace_share,
        without_resonance=float(chances @ [part.without_resonance for part in parts]),
        unsolved=sum(part.unsolved for part in parts),
        effective=effective(drawn.weights),
        widened=any(part.widened for part in parts),
        rounds=sum(part.rounds for part in parts),
        draws=sum(part.draws for part in parts),
    )
