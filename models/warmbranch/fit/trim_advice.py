"""How much to cut now, and how much it will be in the end, for a wanted tone.

The tone that is wanted is one to be heard: lengths are those at which the listener, whose ear's
bias the fit holds uncertain, would find the branch quietest.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from statistics import NormalDist
from typing import Any, NamedTuple, cast

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.fit.ensemble import Ensemble
from warmbranch.fit.haste import Haste
from warmbranch.fit.job_ahead import JobAhead, job_ahead
from warmbranch.fit.next_reading import LISTENING_UNCERTAINTY
from warmbranch.fit.posterior import InverseProblem
from warmbranch.length.length_for_tone import ToneOutcome, bounds, length_for

RISK = 0.015
"""Chance of ending too short that one cut may run. A job takes three or four, each judged anew
after listening, and is to end too short in at most 5 %: see job_ahead.py."""

SIGMAS = -NormalDist().inv_cdf(RISK)
NORMAL_90 = 3.29
"""Standard deviations between 5 and 95 % of a normal distribution."""

SHARPEST = 1e-10
"""m, the least spread of one draw: a draw without doubt is a step, which has no quantile."""

HALVINGS = 60
"""From the width of all draws to less than rounding."""

DRAWS = 64
"""Of which lengths are solved; those of all others follow."""

RIDGE = 1e-3
"""Pull of what differs between draws towards nothing, over the weight of all that are solved."""

TRIM_NODES = 33
"""Nodes along the branch: lengths within 0.1 mm, which no saw keeps."""


@dataclass(frozen=True)
class TrimAdvice:
    """Advice on the saw; lengths in m.

    Parameters
    ----------
    frequency : float, Hz
        Wanted tone, as it is heard.
    already : float
        Off the case's length as the branch stands, by the shortest build that was heard.
    cut_now : float
        Off the case's length, ``already`` included. Leaves the branch too short with a chance of
        at most ``RISK``; ``already`` where any cut would run a greater one.
    held_back : float
        By how much more could be cut now if it were known to have been warm; 0 where the time is
        told.
    heard : bool
        Whether the branch was heard as it stands.
    final_cut : float
        Median of what has to come off the case's length; negative where that is too short.
    final_cut_90 : tuple of float
        5 and 95 % of it.
    chance_too_short : float
        After ``cut_now``.
    chance_as_it_stands : float
        The same with nothing more off.
    unreachable : float
        Share of the draws whose length lies outside of what the model admits, or that have no
        resonance.
    ahead : JobAhead or None
        What the job will still ask for; None where nothing is to be cut now.
    """

    frequency: float
    already: float
    cut_now: float
    held_back: float
    heard: bool
    final_cut: float
    final_cut_90: tuple[float, float]
    chance_too_short: float
    chance_as_it_stands: float
    unreachable: float
    ahead: JobAhead | None


def trim(
    problem: InverseProblem, ensemble: Ensemble, frequency: float, haste: Haste | None = None
) -> TrimAdvice:
    """Work out, for each of many draws, the length at which the wanted tone would be heard.

    Parameters
    ----------
    problem : InverseProblem
    ensemble : Ensemble
        Of its unknowns.
    frequency : float, Hz
    haste : Haste, optional
        Of the same draws: what the saw is to leave room for.

    Returns
    -------
    TrimAdvice

    Raises
    ------
    NotConvergedError
    """
    every = np.arange(len(ensemble.weights))
    ear, ear_weights = problem.ear(ensemble.shared, every)
    middle = np.sum(ear * ear_weights, axis=1)
    sized = _sized(problem, ensemble, frequency * np.exp(-middle))
    # From the mean ear of each draw to its spread, along the slope that was found: a mixture of
    # normal distributions, whose tail depends less on which draws there are than draws of ears.
    within = np.sqrt(np.sum((ear - middle[:, None]) ** 2 * ear_weights, axis=1))
    spread = np.maximum(sized.length * within / np.abs(sized.slope), SHARPEST)
    weights = ensemble.weights
    whole = float(problem.case.branch.length[0])
    standing = min([whole, *problem.heard.length.tolist()])
    already = whole - standing
    cut = warm = NormalMixture(whole - sized.length, spread, weights)
    if haste is not None:
        warm = cut.of(haste.settled)
        cut = _with_haste(cut, whole, sized.slope, haste)
    low, typical, high = (cut.quantile(level) for level in (0.05, 0.5, 0.95))
    now, if_warm = (already + max(0.0, _sawn(one.quantile(RISK) - already)) for one in (cut, warm))
    hearing = LISTENING_UNCERTAINTY * float(weights @ (sized.length / np.abs(sized.slope)))
    ahead = job_ahead(now - typical, (high - low) / NORMAL_90, hearing, SIGMAS)
    return TrimAdvice(
        frequency=frequency,
        already=already,
        cut_now=now,
        held_back=max(0.0, if_warm - now),
        heard=bool(np.any(problem.heard.length == standing)),
        final_cut=typical,
        final_cut_90=(low, high),
        chance_too_short=cut.share_below(now),
        chance_as_it_stands=cut.share_below(already),
        unreachable=sized.unreachable,
        ahead=ahead if now > already else None,
    )


class _Sized(NamedTuple):
    """Lengths of all draws, m, the slopes ``d ln f / d ln L`` there, and how many have none."""

    length: FloatArray
    slope: FloatArray
    unreachable: float


def _sized(problem: InverseProblem, ensemble: Ensemble, tone: FloatArray) -> _Sized:
    """Lengths for (draws,) tones, Hz: solved for some, and from those for all.

    How far the length goes with the tone hardly differs between draws, so that what differs is
    straight in the unknowns: within 0.5 mm, and 0.04 on average, by comparison with lengths that
    are all solved.
    """
    rows, counts = np.unique(ensemble.chosen(DRAWS), return_counts=True)
    own = problem.coordinates(ensemble.white[rows])[:, : len(problem.prior.names)]
    cases = with_unknowns(problem.case, problem.prior.names, own)
    sized = length_for(cases, tone[rows], nodes=TRIM_NODES)
    found = sized.outcome == ToneOutcome.FOUND
    taught = found if 2 * np.sum(found) > len(found) else np.ones_like(found)
    away = np.log(ensemble.frequency / tone)
    about = np.column_stack([away, away**2, ensemble.white])
    about -= np.mean(about[rows[taught]], axis=0)
    answers = np.column_stack([np.log(sized.length), sized.slope])[taught]
    seen: FloatArray = about[rows[taught]]
    middle = np.mean(answers, axis=0)
    pull = np.full(about.shape[1], RIDGE * len(seen))
    pull[:2] = 1e-12  # rounding's worth for the tone itself
    right: FloatArray = seen.T @ (answers - middle)
    solved: FloatArray = np.asarray(
        np.linalg.solve(seen.T @ seen + np.diag(pull), right), dtype=np.float64
    )
    every: FloatArray = middle + about @ solved
    length, slope = every[:, 0], every[:, 1]
    low, high = (float(end[0]) for end in bounds(problem.case))
    length = np.clip(np.exp(length), low, high)
    return _Sized(length, slope, float(counts @ ~found) / DRAWS)


def _sawn(length: float) -> float:
    """Whole millimetres, downwards: no saw keeps tenths, and the draws do not hold them."""
    return float(np.floor(length * 1e3) / 1e3)


def _with_haste(
    fitted: NormalMixture, whole: float, slope: FloatArray, haste: Haste
) -> NormalMixture:
    """What has to come off where the job may be a hasty one: when warm its tone is higher.

    Along the slope of each draw, over whose length the logarithms are as good as straight.
    """
    hasty = whole - (whole - fitted.middle) * np.exp(haste.rise / np.abs(slope))
    return NormalMixture(
        np.concatenate([fitted.middle, hasty]),
        np.concatenate([fitted.spread, fitted.spread]),
        haste.split(fitted.weights),
    )


@dataclass(frozen=True)
class NormalMixture:
    """Normal distributions of some (draws,) middles, spreads and weights that sum to 1."""

    middle: FloatArray
    spread: FloatArray
    weights: FloatArray

    def of(self, some: BoolArray) -> NormalMixture:
        """Of some of the distributions alone; of all, where those weigh nothing."""
        weights = np.where(some, self.weights, 0.0)
        total = float(np.sum(weights))
        return NormalMixture(self.middle, self.spread, weights / total) if total > 0 else self

    def share_below(self, value: float) -> float:
        """Share of the mixture below a value."""
        special = cast("Any", import_module("scipy.special"))  # late: it costs a while
        return float(self.weights @ special.ndtr((value - self.middle) / self.spread))

    def quantile(self, level: float) -> float:
        """Value below which lies so much, by halving."""
        far = 8 * self.spread  # beyond which is less than 1e-15
        low, high = float(np.min(self.middle - far)), float(np.max(self.middle + far))
        for _ in range(HALVINGS):
            half = (low + high) / 2
            low, high = (half, high) if self.share_below(half) < level else (low, half)
        return (low + high) / 2
