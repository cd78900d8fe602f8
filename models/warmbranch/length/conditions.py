"""The quiet tone over weather, load and air speed, and the length that bears them best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.length.compromise import Aim, Compromise, Tones, best_length
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve


@dataclass(frozen=True)
class Conditions:
    """Steady answers over a set of conditions, of one branch.

    Parameters
    ----------
    answer : Answer
        One design a condition.
    frequency : (conditions,) array, Hz
        First resonances.
    loss : (conditions,) array, dB
        Transmission loss at the driven tone with the branch as it is.
    weight : (conditions,) array, dimensionless
    lowest, highest, mean : float, Hz
        Of the first resonances; the mean is weighted.
    worst, weighted : Compromise or None
        The lengths with the least loud worst condition and with the least weighted mean level.
        None where no condition resonates.
    """

    answer: Answer
    frequency: FloatArray
    loss: FloatArray
    weight: FloatArray
    lowest: float
    highest: float
    mean: float
    worst: Compromise | None
    weighted: Compromise | None

    @property
    def spread(self) -> float:
        """Highest less lowest resonance, Hz: what one length must live with."""
        return self.highest - self.lowest


def over_conditions(case: Case, driven: float, weight: FloatArray) -> Conditions:
    """Solve one branch under many conditions.

    Parameters
    ----------
    case : Case
        One design a condition, all of the same branch.
    driven : float, Hz
        The tone to be quietened in all of them.
    weight : (conditions,) array, dimensionless
        ``>= 0``, not all zero: how much each condition counts.
    """
    answer = solve(case)
    first = answer.resonance[:, 0]
    tone = np.full(len(case), driven)
    loss = answer.transmission_loss(tone[:, None])[:, 0]
    known = np.isfinite(first)
    if not np.any(known & (weight > 0)):
        nothing = float("nan")
        return Conditions(answer, first, loss, weight, nothing, nothing, nothing, None, None)
    tones = Tones.single(tone)
    # A branch tuned to the driven tone lies within a few percent of this one, scaled.
    mean = float(np.average(first[known], weights=np.maximum(weight[known], 1e-300)))
    worst, weighted = (best_length(case, tones, weight, aim) for aim in (Aim.LOUDEST, Aim.MEAN))
    return Conditions(
        answer=answer,
        frequency=first,
        loss=loss,
        weight=weight,
        lowest=float(first[known].min()),
        highest=float(first[known].max()),
        mean=mean,
        worst=worst,
        weighted=weighted,
    )
