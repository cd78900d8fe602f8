"""The emulator in the model's place: searched for a start, asked where draws are worth most."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.fit.emulator import Emulator
from warmbranch.fit.posterior import Expected, Problem
from warmbranch.fit.search import log_posterior

HIGHEST_TONE = 300.0
"""ln Hz. What is foreseen beyond is taken to be there: squares of it are still numbers."""


class Foreseen(NamedTuple):
    """What the stand-in foresees of sets of unknowns.

    Parameters
    ----------
    log_posterior : (sets,) array
    tone : (sets,) array
        ln(first resonance).
    """

    log_posterior: FloatArray
    tone: FloatArray


class StandIn:
    """An emulator of all that a problem looks at.

    Parameters
    ----------
    problem : Problem
    white : (draws, unknowns) array
    solved : sequence of Expected
        What the model said of them, in the same order.
    centre : (unknowns,) array
    covariance : (unknowns, unknowns) array
        Of the region that matters.
    """

    def __init__(
        self,
        problem: Problem,
        white: FloatArray,
        solved: Sequence[Expected],
        centre: FloatArray,
        covariance: FloatArray,
    ) -> None:
        self._problem = problem
        answers = np.concatenate(
            [
                np.column_stack([part.displayed, np.log(part.heard), np.log(part.frequency)])
                for part in solved
            ]
        )
        sound = np.all(np.isfinite(answers), axis=1)
        self.emulator = Emulator.fitted(centre, covariance, white[sound], answers[sound])
        self._looked: FloatArray = np.empty((0, len(centre)))

    def foreseen(self, white: FloatArray) -> Foreseen:
        """Foresee (sets, unknowns)."""
        answers = self.emulator.answers(white)
        return Foreseen(log_posterior(white, self._misfits(answers)), answers[:, -1])

    def misfits(self, white: FloatArray) -> FloatArray:
        """As the search wants them."""
        self._looked = white
        return self._misfits(self.emulator.answers(white))

    def slopes(self, row: int) -> FloatArray:
        """As the search wants them."""
        white, problem = self._looked[row], self._problem
        readings = len(problem.readings)
        slopes = self.emulator.slopes(white)
        tones = self._tones(self.emulator.answers(white[None]))[0]
        return problem.misfit_slopes(slopes[:readings], tones[:, None] * slopes[readings:-1])

    def _misfits(self, answers: FloatArray) -> FloatArray:
        readings = len(self._problem.readings)
        return self._problem.misfit(answers[:, :readings], self._tones(answers))

    def _tones(self, answers: FloatArray) -> FloatArray:
        """Tones heard, (sets, heard), Hz."""
        logarithm = answers[:, len(self._problem.readings) : -1]
        # Far from the draws the parabolas leave all bounds: improbable enough, and still a number.
        return np.exp(np.minimum(logarithm, HIGHEST_TONE))
