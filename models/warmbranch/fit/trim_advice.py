"""How much to cut now, and how much it will be in the end, for a wanted tone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.draws import quantiles
from warmbranch.belief.unknowns import put
from warmbranch.fit.ensemble import Ensemble
from warmbranch.fit.posterior import Problem
from warmbranch.length.tone import Outcome, length_for

RISK = 0.05
"""Chance of ending too short that a first cut may run."""

DRAWS = 160
TRIM_NODES = 33
"""Nodes along the branch: lengths within 0.1 mm, which no saw keeps."""


@dataclass(frozen=True)
class Trim:
    """Advice on the saw; lengths in m.

    Parameters
    ----------
    frequency : float, Hz
        Wanted first resonance.
    cut_now : float
        Leaves the branch too short with a chance of at most ``RISK``. 0 where any cut would
        run a greater one.
    final_cut : float
        Median of what has to come off in all; negative where the branch is too short already.
    final_cut_90 : tuple of float
        5 and 95 % of it.
    chance_too_short : float
        After ``cut_now``.
    unreachable : float
        Share of the draws whose length lies outside of what the model admits, or that have no
        resonance.
    """

    frequency: float
    cut_now: float
    final_cut: float
    final_cut_90: tuple[float, float]
    chance_too_short: float
    unreachable: float


def trim(problem: Problem, ensemble: Ensemble, frequency: float) -> Trim:
    """Work out, for each of many draws, the length that gives the wanted tone.

    Parameters
    ----------
    problem : Problem
    ensemble : Ensemble
        Of its unknowns.
    frequency : float, Hz

    Returns
    -------
    Trim

    Raises
    ------
    NotConvergedError
    """
    white, counts = np.unique(ensemble.chosen(DRAWS), axis=0, return_counts=True)
    weights: FloatArray = counts / np.sum(counts)
    own = problem.coordinates(white)[:, : len(problem.prior.names)]
    cases = put(problem.case, problem.prior.names, own)
    sized = length_for(cases, np.full(len(cases), frequency), nodes=TRIM_NODES)
    length = float(problem.case.branch.length[0])
    cut = length - sized.length
    low, middle, high = quantiles(cut, weights, np.array([RISK, 0.5, 1 - RISK]))
    now = max(0.0, float(low))
    return Trim(
        frequency=frequency,
        cut_now=now,
        final_cut=float(middle),
        final_cut_90=(float(low), float(high)),
        chance_too_short=float(weights @ (cut < now)),
        unreachable=float(weights @ (sized.outcome != Outcome.FOUND)),
    )
