"""The emulator in the model's place: searched for a start, asked where draws are worth most."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.fit.emulator import Emulator
from warmbranch.fit.observation_model import Expected
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.search import DEGREES_OF_FREEDOM, log_likelihood
from warmbranch.fit.shared import most_likely

TIME_STEP = 1e-3
"""White step in the time since the start, to either side."""

FURTHER_OFF = 1.5
"""How much farther off an emulator is elsewhere than where it was fitted."""

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
    problem : InverseProblem
    white : (draws, unknowns) array
    solved : sequence of Expected
        What the model said of them, in the same order.
    centre : (unknowns,) array
    covariance : (unknowns, unknowns) array
        Of the region that matters.
    """

    def __init__(
        self,
        problem: InverseProblem,
        white: FloatArray,
        solved: Sequence[Expected],
        centre: FloatArray,
        covariance: FloatArray,
    ) -> None:
        self._problem = problem
        displayed, heard, tone = (
            np.concatenate([getattr(part, name) for part in solved])
            for name in ("displayed", "heard", "frequency")
        )
        answers = np.column_stack(
            [*problem.clock.lagging(displayed, np.log(heard), white, off=True), np.log(tone)]
        )
        sound = np.all(np.isfinite(answers), axis=1)
        own = slice(problem.solved_for)
        self.emulator = Emulator.fitted(
            centre[own], covariance[own, own], white[sound, own], answers[sound]
        )
        self._doubt = self._doubted(white[sound], answers[sound])
        self._looked: FloatArray = np.empty((0, len(centre)))
        self._slopes, self._gain = self._explaining(self._answers(centre[None]))

    def foreseen(self, white: FloatArray, reach: float = np.inf) -> Foreseen:
        """Foresee (sets, unknowns).

        Sets whose squared distance from the centre, scaled, is beyond ``reach`` are given no
        chance, and no tone.
        """
        scaled = self.emulator.scaled(white[:, : self._problem.solved_for])
        near = np.sum(scaled**2, axis=1) <= reach
        found = self._near(scaled[near], white[near])
        value, tone = np.full(len(white), -np.inf), np.zeros(len(white))
        value[near], tone[near] = found
        return Foreseen(value, tone)

    def _near(self, scaled: FloatArray, white: FloatArray) -> Foreseen:
        """The same of sets within reach."""
        answers = self._lagged(self.emulator.at_scaled(scaled), white)
        misfit = self._misfits(answers)
        shared = misfit @ self._gain.T
        residual = (misfit + shared @ self._slopes.T) / self._doubt
        likelihood = log_likelihood(residual) - np.sum(shared**2, axis=1) / 2
        value = likelihood - np.sum(white**2, axis=1) / 2
        return Foreseen(np.where(np.isnan(value), -np.inf, value), answers[:, -1])

    def _doubted(self, white: FloatArray, answers: FloatArray) -> FloatArray:
        """Uncertainty of each misfit as foreseen, over that of the misfit itself.

        From how far the emulator misses what it was fitted to; without it, draws would crowd where
        the stand-in errs.
        """
        if len(white) == 0:  # nothing is foreseen, and no set is given a chance
            return np.full_like(answers, np.nan, shape=answers.shape[1] - 1)
        own = white[:, : self._problem.solved_for]
        off = answers - self.emulator.answers(own)
        away = self.emulator.distance(own)
        weight = np.exp(-(away - away.min()) / 8)  # all may be far from where it was centred
        off = np.sqrt(weight @ off**2 / np.sum(weight))[:-1]
        readings, problem = len(self._problem.readings), self._problem
        misses = np.abs(problem.misfit_slopes(off[:readings, None], off[readings:, None]))[:, 0]
        return np.sqrt(1 + (FURTHER_OFF * misses) ** 2)

    def _explaining(self, answers: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Slopes of the misfit with the shared errors, and which errors a misfit speaks for.

        Both as they are in the centre: a stand-in need not be exact.
        """
        displayed = answers[:, : len(self._problem.readings)]
        slopes, misfit = self._problem.shared_slopes(displayed), self._misfits(answers)
        shared, precision = most_likely(misfit, slopes)
        residual = misfit[0] + slopes[0] @ shared[0]
        weight = (DEGREES_OF_FREEDOM + 1) / (DEGREES_OF_FREEDOM + residual**2)
        gain = np.asarray(np.linalg.solve(precision[0], -slopes[0].T * weight), dtype=np.float64)
        return slopes[0], gain

    def misfits(self, white: FloatArray) -> FloatArray:
        """As the search wants them, of unknowns and shared errors."""
        self._looked = white
        size, readings = len(self._problem), len(self._problem.readings)
        answers = self._answers(white[:, :size])
        tones = self._tones(answers)
        return self._problem.joint_misfit(answers[:, :readings], tones, white[:, size:])

    def slopes(self, row: int) -> FloatArray:
        """As the search wants them."""
        problem = self._problem
        white, readings = self._looked[row, : len(problem)], len(problem.readings)
        timed = TIME_STEP * np.eye(len(problem))[problem.solved_for :]
        near = self._answers(white + np.concatenate([timed, -timed, 0 * white[None]]))
        ahead, behind = near[: len(timed)], near[len(timed) : -1]
        slopes = self.emulator.slopes(white[: problem.solved_for])
        slopes = np.concatenate([slopes, (ahead - behind).T / (2 * TIME_STEP)], axis=1)
        own = problem.misfit_slopes(slopes[:readings], slopes[readings:-1])
        by_shared = problem.shared_slopes(near[-1:, :readings])[0]
        return np.concatenate([own, by_shared], axis=1)

    def _answers(self, white: FloatArray) -> FloatArray:
        answers = self.emulator.answers(white[:, : self._problem.solved_for])
        return self._lagged(answers, white)

    def _lagged(self, answers: FloatArray, white: FloatArray) -> FloatArray:
        """Answers of the warm branch at the sets' times."""
        readings = len(self._problem.readings)
        seen = self._problem.clock.lagging(answers[:, :readings], answers[:, readings:-1], white)
        return np.column_stack([*seen, answers[:, -1]])

    def _misfits(self, answers: FloatArray) -> FloatArray:
        readings = len(self._problem.readings)
        return self._problem.misfit(answers[:, :readings], self._tones(answers))

    def _tones(self, answers: FloatArray) -> FloatArray:
        """Tones heard, (sets, heard), Hz."""
        logarithm = answers[:, len(self._problem.readings) : -1]
        # Far from the draws the parabolas leave all bounds: improbable enough, and still a number.
        return np.exp(np.clip(logarithm, -HIGHEST_TONE, HIGHEST_TONE))
