"""How much of the tone a branch keeps back at its best, as a range: the mouth resists, and by how
much is known within a factor of three or so."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.draws import standard_normal
from warmbranch.belief.unknown import Spreads, log_spread
from warmbranch.case.closures import FLOW_LOSS, LEVEL_LOSS
from warmbranch.sound import acoustics
from warmbranch.steady.answer import Answer

DRAWS = 4096

ENDS = np.array([0.05, 0.95])


class Depth(NamedTuple):
    """Transmission loss at the first resonance, each (designs,), dB.

    NaN where there is no resonance; infinite where nothing resists.

    Parameters
    ----------
    usual : array
        By the answer's own coefficients.
    low, high : array
        Ends of the range that holds 90 %.
    wall_alone : array
        If nothing resisted but the branch's wall.
    """

    usual: FloatArray
    low: FloatArray
    high: FloatArray
    wall_alone: FloatArray


def depth(answer: Answer, spreads: Spreads | None = None) -> Depth:
    """Transmission loss at the first resonance, as a range.

    Parameters
    ----------
    answer : Answer
    spreads : Spreads, optional
        Of the tone's pressure at the cap and the main pipe's flow; as for a case that gives the
        flow and not the tone unless given.

    Valid for
    ---------
    Main pipes without reflections on both sides. What the coefficients of the mouth, the tone's
    level and the flow leave open is in the range; what the tuning does is not: this is the branch
    at its best.

    Check
    -----
    ``20 log₁₀[1 + s/(2 z)]`` of a branch whose mouth alone resists, in
    tests/models/belief/test_depth.py.
    """
    spreads = Spreads() if spreads is None else spreads
    case = answer.case
    by_flow, by_level, flow, pressure = _drawn()
    closures, pipe = case.closures, case.main_pipe
    mach = answer.main_speed / answer.main_sound_speed
    found = answer.resisting(
        closures.flow_loss * by_flow,
        closures.level_loss * by_level,
        mach * np.exp(spreads.mass_flow * flow),
        pipe.cap_pressure * np.exp(spreads.cap_pressure * pressure),
    )
    own = answer.mouth_loss.all
    mouth = np.stack([own, *_quantiles(found.all, ENDS[::-1]), np.zeros_like(own)])
    total = (answer.wall_resistance + mouth).astype(np.complex128)
    told = acoustics.transmission_loss(total, answer.main_impedance / answer.own_impedance)
    return Depth(*np.where(np.isnan(answer.resonance[:, 0]), np.nan, told))


@cache
def _drawn() -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Factors of what resists by flow and by level; deviates of flow and pressure, (draws, 1)."""
    by_flow, by_level, flow, pressure = np.ascontiguousarray(standard_normal(DRAWS, 4).T)[..., None]
    of_flow = np.exp(log_spread(FLOW_LOSS) * by_flow)
    return of_flow, np.exp(log_spread(LEVEL_LOSS) * by_level), flow, pressure


def _quantiles(values: FloatArray, shares: FloatArray) -> FloatArray:
    """Over the first axis, between neighbours by a line: numpy's own, at a third of its cost."""
    place = shares * (len(values) - 1)
    below = place.astype(np.intp)
    ordered = np.partition(values, [*below, *(below + 1)], axis=0)
    rest = (place - below)[:, None]
    return (1 - rest) * ordered[below] + rest * ordered[below + 1]
