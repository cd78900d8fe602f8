"""The emulator in the model's place: searched for a start, asked where draws are worth most."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.fit.emulator import Emulator
from warmbranch.fit.posterior import Expected, Problem
from warmbranch.fit.search import DEGREES_OF_FREEDOM, log_likelihood
from warmbranch.fit.shared import most_likely

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
        self._slopes, self._gain = self._explaining(self.emulator.answers(centre[None]))

    def foreseen(self, white: FloatArray) -> Foreseen:
        """Foresee (sets, unknowns)."""
        answers = self.emulator.answers(white)
        misfit = self._misfits(answers)
        shared = misfit @ self._gain.T
        likelihood = log_likelihood(misfit + shared @ self._slopes.T) - np.sum(shared**2, 1) / 2
        value = likelihood - np.sum(white**2, axis=1) / 2
        return Foreseen(np.where(np.isnan(value), -np.inf, value), answers[:, -1])

    def _explaining(self, answers: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes of the misfit with the shared errors, and which errors a misfit speaks for.

        Both as they are in the centre: a stand-in need not be exact.
        """
        displayed = answers[:, : len(self._problem.readings)]
        slopes, misfit = self._problem.shared_slopes(displayed), self._misfits(answers)
        shared, precision = most_likely(misfit, slopes)
        residual = misfit[0] + slopes[0] @ shared[0]
        weight = (DEGREES_OF_FREEDOM + 1) / (DEGREES_OF_FREEDOM + residual**2)
        gain = -np.linalg.solve(precision[0], slopes[0].T * weight)
        return slopes[0], np.asarray(gain, dtype=np.float64)

    def misfits(self, white: FloatArray) -> FloatArray:
        """As the search wants them, of unknowns and shared errors."""
        self._looked = white
        size, readings = len(self._problem), len(self._problem.readings)
        answers = self.emulator.answers(white[:, :size])
        tones = self._tones(answers)
        return self._problem.joint_misfit(answers[:, :readings], tones, white[:, size:])

    def slopes(self, row: int) -> FloatArray:
        """As the search wants them."""
        problem = self._problem
        white, readings = self._looked[row, : len(problem)], len(problem.readings)
        slopes = self.emulator.slopes(white)
        own = problem.misfit_slopes(slopes[:readings], slopes[readings:-1])
        displayed = self.emulator.answers(white[None])[:, :readings]
        return np.concatenate([own, problem.shared_slopes(displayed)[0]], axis=1)

    def _misfits(self, answers: FloatArray) -> FloatArray:
        readings = len(self._problem.readings)
        return self._problem.misfit(answers[:, :readings], self._tones(answers))

    def _tones(self, answers: FloatArray) -> FloatArray:
        """Tones heard, (sets, heard), Hz."""
        logarithm = answers[:, len(self._problem.readings) : -1]
        # Far from the draws the parabolas leave all bounds: improbable enough, and still a number.
        return np.exp(np.minimum(logarithm, HIGHEST_TONE))
