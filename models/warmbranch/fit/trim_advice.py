"""How much to cut now, and how much it will be in the end, for a wanted tone.

The tone that is wanted is one to be heard: lengths are those at which the listener, whose ear's
bias the fit holds uncertain, would find the branch quietest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.draws import quantiles
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.fit.ensemble import Ensemble
from warmbranch.fit.posterior import Problem
from warmbranch.length.length_for_tone import ToneOutcome, length_for

RISK = 0.03
"""Chance of ending too short that one cut may run. A job takes two or three, each judged anew
after listening, and is to end too short in less than 5 %."""

DRAWS = 200
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
    heard : bool
        Whether the branch was heard as it stands.
    final_cut : float
        Median of what has to come off the case's length; negative where that is too short.
    final_cut_90 : tuple of float
        5 and 95 % of it.
    chance_too_short : float
        After ``cut_now``.
    unreachable : float
        Share of the draws whose length lies outside of what the model admits, or that have no
        resonance.
    """

    frequency: float
    already: float
    cut_now: float
    heard: bool
    final_cut: float
    final_cut_90: tuple[float, float]
    chance_too_short: float
    unreachable: float


def trim(problem: Problem, ensemble: Ensemble, frequency: float) -> TrimAdvice:
    """Work out, for each of many draws, the length at which the wanted tone would be heard.

    Parameters
    ----------
    problem : Problem
    ensemble : Ensemble
        Of its unknowns.
    frequency : float, Hz

    Returns
    -------
    TrimAdvice

    Raises
    ------
    NotConvergedError
    """
    rows, counts = np.unique(ensemble.chosen(DRAWS), return_counts=True)
    own = problem.coordinates(ensemble.white[rows])[:, : len(problem.prior.names)]
    cases = with_unknowns(problem.case, problem.prior.names, own)
    ear, ear_weights = problem.ear(ensemble.shared, rows)
    middle = np.sum(ear * ear_weights, axis=1)
    sized = length_for(cases, frequency * np.exp(-middle), nodes=TRIM_NODES)
    # From the mean ear of each draw to all of its ears, along the slope that was found.
    lengths = sized.length[:, None] * np.exp(-(ear - middle[:, None]) / sized.slope[:, None])
    drawn: FloatArray = counts / np.sum(counts)
    weights = (drawn[:, None] * ear_weights).reshape(-1)
    whole = float(problem.case.branch.length[0])
    standing = min([whole, *problem.heard.length.tolist()])
    already = whole - standing
    cut = whole - lengths.reshape(-1)
    levels = np.array([RISK, 0.05, 0.5, 0.95])
    safe, low, typical, high = (float(value) for value in quantiles(cut, weights, levels))
    # No saw keeps tenths, and the draws do not hold them: whole millimetres, downwards.
    now = already + max(0.0, np.floor((safe - already) * 1e3) / 1e3)
    return TrimAdvice(
        frequency=frequency,
        already=already,
        cut_now=now,
        heard=bool(np.any(problem.heard.length == standing)),
        final_cut=typical,
        final_cut_90=(low, high),
        chance_too_short=float(weights @ (cut < now)),
        unreachable=float(drawn @ (sized.outcome != ToneOutcome.FOUND)),
    )
