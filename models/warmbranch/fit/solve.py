"""From readings and tones heard to calibrated unknowns, predictions and advice, on one page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.prediction import LEVELS
from warmbranch.belief.unknown import NORMAL_95, Spreads
from warmbranch.belief.unknowns import UNKNOWNS, shifted_emissivity
from warmbranch.case.case import Case
from warmbranch.fit.clock import START, WARMTH
from warmbranch.fit.ensemble import Ensemble
from warmbranch.fit.haste import Haste
from warmbranch.fit.next_reading import Advice, advise
from warmbranch.fit.posterior import InverseProblem, Mode
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.rivals import Rival, not_warm, weigh
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.standing import Standing
from warmbranch.fit.suspicion import Suspicion
from warmbranch.fit.taught import FitOutcome, Taught, taught
from warmbranch.fit.trim_advice import TrimAdvice, trim
from warmbranch.fit.warmth import time_of
from warmbranch.length.effects import Effects, effects
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve

TIED = 0.7
"""Correlation from which two unknowns cannot be told apart."""


@dataclass(frozen=True)
class Parameter:
    """What the data say of one unknown, in its ``unit``.

    Parameters
    ----------
    name, unit : str
        Of a key of ``UNKNOWNS``, or ``"emissivity of <patch>"``, or ``START``.
    prior_90, interval_90 : tuple of float
        5 and 95 %.
    estimate : float
        Median.
    learned_share : float
        Share of the prior's width, in the unknown's own coordinate, that the data removed.
    beyond : bool
        Whether the median has left the prior's 95 %.
    at_bound : bool
        Whether the most probable value lies at the edge of the prior.
    """

    name: str
    unit: str
    prior_90: tuple[float, float]
    estimate: float
    interval_90: tuple[float, float]
    learned_share: float
    beyond: bool
    at_bound: bool


@dataclass(frozen=True)
class Fitted:
    """Everything a fit found.

    Parameters
    ----------
    outcome : FitOutcome
    parameters : tuple of Parameter
    expected : (readings,) array, K
        What the thermometers would show at the most probable set.
    suspicions : tuple, one entry a reading, of tuples of Suspicion
    heard_expected : (heard,) array, Hz
    heard_suspicions : tuple, one entry a tone, of Suspicion or None
        An ``overtone_or_wrong_order`` was left out of the fit; what ``does_not_fit`` weighs
        little, as it contradicts the readings or the model.
    before, after : (levels,) array, Hz
        First resonance at ``LEVELS``; empty where there is none.
    learned_share : float
        Share of the width of ln(resonance) that the data removed.
    ties : tuple of (str, str, float)
        Pairs of unknowns that cannot be told apart, with their correlation.
    rivals : tuple of Rival
        Slips that explain what was written as well or better.
    advice : Advice
    trim : TrimAdvice or None
    calibration : Calibration
    answer : Answer
        Of the calibrated case.
    effects : Effects or None
        From the one-temperature rule to the calibrated case; None without a resonance.
    ensemble : Ensemble
        After the fit.
    standing : Standing or None
        Whether it was read standing still, where the case tells of wind and nobody says.
    idling : float
        Chance that it was read at idle, where nobody says.
    haste : Haste or None
        What ``after``, ``ensemble``, ``calibration`` and ``trim`` allow for where nobody told how
        long the engine had run; the rest tells what the data say.
    mode : Mode
    """

    outcome: FitOutcome
    parameters: tuple[Parameter, ...]
    expected: FloatArray
    suspicions: tuple[tuple[Suspicion, ...], ...]
    heard_expected: FloatArray
    heard_suspicions: tuple[Suspicion | None, ...]
    before: FloatArray
    after: FloatArray
    learned_share: float
    ties: tuple[tuple[str, str, float], ...]
    rivals: tuple[Rival, ...]
    advice: Advice
    trim: TrimAdvice | None
    calibration: Calibration
    answer: Answer
    effects: Effects | None
    ensemble: Ensemble
    standing: Standing | None
    idling: float
    haste: Haste | None
    mode: Mode


def fit(
    case: Case,
    readings: Readings,
    heard: Heard,
    *,
    spreads: Spreads | None = None,
    prior: Calibration | None = None,
    warming: Warming | None = None,
    warm: bool = False,
    target: float | None = None,
    order: float | None = None,
    order_step: float = 0.5,
    as_read: Case | None = None,
) -> Fitted:
    """Fit the model to readings and tones heard.

    Parameters
    ----------
    case : Case
        One design, as the user describes it.
    readings : Readings
    heard : Heard
    spreads : Spreads, optional
        Prior widths that belong to the case, and what is taken as known.
    prior : Calibration, optional
        From an earlier fit, in place of the model's own priors.
    warming : Warming, optional
        The warm-up that readings and tones with a time were taken in.
    warm : bool
        Whether what has no time is known to be of the settled branch. Otherwise the time since
        the start is one more unknown, unless something has a time.
    target : float, Hz, optional
        Wanted first resonance, for advice on trimming.
    order, order_step : float
        Engine order by which tones were reckoned from engine speeds, and what orders of this
        engine are multiples of: only to explain tones that cannot be.
    as_read : Case, optional
        One design, the same branch in the state that readings without a time were taken in; tones
        and target are of ``case``. Where this is not given, standing still is weighed
        where the case tells of wind, and idling where the readings are strained.

    Returns
    -------
    Fitted

    Raises
    ------
    InputError
        For readings that cannot be.
    NotConvergedError
        If the forward model fails.
    """
    found = taught(
        case,
        readings,
        heard,
        spreads=spreads,
        prior=prior,
        warming=warming,
        warm=warm,
        order=order,
        order_step=order_step,
        as_read=as_read,
    )
    problem, mode, fitted, after = found.problem, found.mode, found.fitted, found.after
    calibration = problem.calibration(*after.moments())
    answer = solve(calibration.applied_to(case))
    sounding = not np.isnan(answer.resonance[0, 0])
    wanted = target if sounding else None
    return Fitted(
        outcome=found.outcome,
        parameters=_parameters(problem, mode, found.before, after),
        expected=mode.displayed,
        suspicions=found.suspicions,
        heard_expected=mode.heard,
        heard_suspicions=found.tones,
        before=found.before.quantiles(found.before.frequency, LEVELS),
        after=after.quantiles(after.frequency, LEVELS),
        learned_share=max(0.0, found.shares[1]),
        ties=_ties(problem, fitted.moments()[1]),
        rivals=_rivals(found) if found.learns else (),
        advice=advise(problem, fitted),
        trim=None if wanted is None else trim(problem, fitted, wanted, found.haste),
        calibration=calibration,
        answer=answer,
        effects=effects(answer, answer.resonance[:, 0]) if sounding else None,
        ensemble=after,
        standing=found.state.standing,
        idling=found.state.idling,
        haste=found.haste,
        mode=mode,
    )


def _parameters(
    problem: InverseProblem, mode: Mode, before: Ensemble, after: Ensemble
) -> tuple[Parameter, ...]:
    told: list[Parameter] = []
    every, prior = problem.coordinates(after.white), problem.coordinates(before.white)
    model, far = len(problem.prior.names), _too_far(problem, after)
    for i in range(len(problem)):
        low, middle, high = after.quantiles(every[:, i], LEVELS[[0, 2, 4]])
        first, _, last = before.quantiles(prior[:, i], LEVELS[[0, 2, 4]])
        if i < model:
            unknown = UNKNOWNS[problem.prior.names[i]]
            name, unit = unknown.name, unknown.unit
            values = unknown.value(problem.case, np.array([first, last, low, middle, high]))
        elif problem.names[i] == START:
            name, unit = START, "1"
            values = np.exp(np.array([first, last, low, middle, high]))
        elif problem.names[i] == WARMTH:
            name, unit = WARMTH, "s"
            values = time_of(np.array([first, last, low, middle, high]))
        else:
            patch = problem.names[i]
            name, unit = f"emissivity of {patch}", "1"
            index = problem.readings.surface.index(patch)
            values = shifted_emissivity(
                problem.readings.emissivity[index], np.array([first, last, low, middle, high])
            )
        told.append(
            Parameter(
                name=name,
                unit=unit,
                prior_90=(float(values[0]), float(values[1])),
                estimate=float(values[3]),
                interval_90=(float(values[2]), float(values[4])),
                # Not below 0, which only the noise of the draws could make it.
                learned_share=max(0.0, 1 - float((high - low) / (last - first))),
                beyond=problem.names[i] in far,
                at_bound=bool(mode.summit.at_bound[i]),
            )
        )
    return tuple(told)


def _rivals(found: Taught) -> tuple[Rival, ...]:
    early = not_warm(found.problem, found.fitted)
    slips = weigh(found.problem, found.mode, found.drawn)
    every = [*slips, *([] if early is None else [early])]
    return tuple(sorted(every, key=lambda rival: -rival.odds))


def _too_far(problem: InverseProblem, after: Ensemble) -> tuple[str, ...]:
    """Unknowns whose median has left its prior's 95 %."""
    medians = np.array([after.quantiles(column, LEVELS[[2]])[0] for column in after.white.T])
    names = problem.names
    return tuple(names[i] for i in np.flatnonzero(np.abs(medians) > NORMAL_95))


def _ties(problem: InverseProblem, covariance: FloatArray) -> tuple[tuple[str, str, float], ...]:
    """Pairs of the model's unknowns that the data tie to each other."""
    names = problem.prior.names
    spread = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(spread, spread)
    return tuple(
        (names[i], names[j], float(correlation[i, j]))
        for i in range(len(names))
        for j in range(i)
        if abs(correlation[i, j]) > TIED
    )
