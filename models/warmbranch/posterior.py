"""How well unknowns explain readings and tones heard, and the set that explains them best.

Unknowns are searched in white coordinates: independent, with mean 0 and spread 1 before any
reading. The misfit is that of Student's distribution, which grows so slowly far out that one
wild reading does not own the fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from warmbranch.batch import BoolArray, FloatArray
from warmbranch.calibration import Calibration
from warmbranch.case import Case
from warmbranch.forecast import FIT_NODES, Forecast, Forecaster
from warmbranch.grid import DEFAULT_NODES
from warmbranch.readings import OWN, Heard, Readings

DEGREES_OF_FREEDOM = 4.0
"""Of Student's distribution of a misfit: near the normal one at the core, far from it in the
tails. A usual choice where a few readings in a hundred may be wild."""

BOUND = 3.29
"""White coordinates are searched within this, which holds 99.9 % of each prior."""

STEP = 1e-5
"""White step of the sensitivities, which are off by about as much: far less than a search needs,
and the solution is exact enough (1e-9 K) not to drown in it."""

PROMISE = 0.1
"""Rise of ln(probability) that a step must promise for another one to follow: after so small a
step the search, converging fast, is much closer to the best set than that set's uncertainty, and
the set only guides the draws that follow."""

MOST_STEPS = 25
MOST_CAUTION = 1e5
"""Factor on the dampings beyond which a step that does not help is no step any more."""

REWEIGHTED = 6
DAMPINGS = (0.0, 1.0, 10.0, 100.0)
"""Tried side by side in each step, over the prior's own unit curvature."""


@dataclass(frozen=True)
class Expected:
    """What would be seen for sets of unknowns.

    Parameters
    ----------
    forecast : Forecast
        Sets × lengths designs.
    displayed : (sets, readings) array, K
    heard : (sets, heard) array, Hz
    frequency : (sets,) array, Hz
        First resonance at the first length.
    """

    forecast: Forecast
    displayed: FloatArray
    heard: FloatArray
    frequency: FloatArray


@dataclass(frozen=True)
class Mode:
    """The most probable set of unknowns.

    Parameters
    ----------
    white : (unknowns,) array
    expected : Expected
        One set.
    precision : (unknowns, unknowns) array
        Curvature of the misfit there: inverse of Laplace's covariance, white.
    at_bound : (unknowns,) array of bool
    converged : bool
    steps : int
    """

    white: FloatArray
    expected: Expected
    precision: FloatArray
    at_bound: BoolArray
    converged: bool
    steps: int


class Problem:
    """One case, what was read and heard, and what was believed before.

    Parameters
    ----------
    case : Case
        One design.
    readings : Readings
    heard : Heard
    prior : Calibration
        Of the model's unknowns, by :meth:`Calibration.prior` or from an earlier fit.
    nodes : int
    """

    def __init__(
        self,
        case: Case,
        readings: Readings,
        heard: Heard,
        prior: Calibration,
        nodes: int = FIT_NODES,
    ) -> None:
        readings.check(float(case.branch.length[0]))
        self.case, self.readings, self.heard, self.prior = case, readings, heard, prior
        self.patches = readings.patches
        own = float(case.branch.length[0])
        others = dict.fromkeys(float(length) for length in heard.length if length != own)
        lengths = np.array([own, *others])
        self._build = np.array([int(np.argmax(lengths == length)) for length in heard.length])
        self.forecaster = Forecaster(case, prior.names, lengths, nodes)
        self._mean = np.concatenate([prior.mean, np.zeros(len(self.patches))])
        self._root = np.zeros((len(self), len(self)))
        model = len(prior.names)
        self._root[:model, :model] = prior.root
        for i, patch in enumerate(self.patches, start=model):
            self._root[i, i] = readings.spread_of(patch)
        self._counts = np.ones(len(readings) + len(heard))
        self._odds_column = [self._column_of(name) for name in readings.surface]
        self._fine = self._fine_grid()

    def __len__(self) -> int:
        """Unknowns: those of the model, then an emissivity for each patch."""
        return len(self.prior.names) + len(self.patches)

    def leave_out(self, heard: Sequence[int]) -> None:
        """Let some of the tones heard, by index, no longer count."""
        self._counts[len(self.readings) + np.array(heard, dtype=np.intp)] = 0.0

    @property
    def counted(self) -> int:
        """Readings and tones that count."""
        return int(np.sum(self._counts))

    def calibration(self, mean: FloatArray, covariance: FloatArray) -> Calibration:
        """The model's part of a white mean (unknowns,) and covariance as a calibration."""
        model = len(self.prior.names)
        root = self._root[:model, :model]
        own = root @ covariance[:model, :model] @ root.T
        return Calibration(
            names=self.prior.names,
            mean=self._mean[:model] + root @ mean[:model],
            covariance=(own + own.T) / 2,
        )

    def coordinates(self, white: FloatArray) -> FloatArray:
        """Coordinates of unknowns and patches, (sets, unknowns), from white ones."""
        return self._mean + white @ self._root.T

    def expected(self, white: FloatArray) -> Expected:
        """Solve the model for (sets, unknowns) white coordinates."""
        coordinates = self.coordinates(white)
        return self._seen(self.forecaster.at(coordinates[:, : len(self.prior.names)]), coordinates)

    def misfit(self, displayed: FloatArray, heard: FloatArray) -> FloatArray:
        """Residuals over their uncertainties, (sets, readings + heard); 0 for what is left out.

        Parameters
        ----------
        displayed : (sets, readings) array, K
        heard : (sets, heard) array, Hz
        """
        read = (self.readings.displayed - displayed) / self.readings.uncertainty
        tones = (self.heard.frequency - heard) / self.heard.uncertainty
        # Where the model has no resonance, a tone that was heard is as far off as can be.
        every = np.concatenate([read, np.where(np.isnan(tones), 1e3, tones)], axis=1)
        return every * self._counts

    def log_posterior(self, white: FloatArray, expected: Expected) -> FloatArray:
        """Logarithm of likelihood times prior, (sets,), but for a constant."""
        return self.log_posterior_of(white, expected.displayed, expected.heard)

    def log_posterior_of(
        self, white: FloatArray, displayed: FloatArray, heard: FloatArray
    ) -> FloatArray:
        """The same for (sets, readings) displays, K, and (sets, heard) tones, Hz."""
        nu = DEGREES_OF_FREEDOM
        squared = np.square(self.misfit(displayed, heard))
        likelihood = -(nu + 1) / 2 * np.sum(np.log1p(squared / nu), axis=1)
        value = likelihood - np.sum(white**2, axis=1) / 2
        return np.where(np.isnan(value), -np.inf, value)  # sets without a solution

    def sensitivities(self, white: FloatArray, expected: Expected) -> FloatArray:
        """Slopes of the misfit with the white coordinates, (readings + heard, unknowns).

        By first-order forecasts about the solution: see :meth:`Forecaster.near`.
        """
        coordinates = self.coordinates(white + STEP * np.eye(len(self)))
        forecast = self.forecaster.near(expected.forecast, coordinates[:, : len(self.prior.names)])
        moved = self._seen(forecast, coordinates)
        change = self.misfit(moved.displayed, moved.heard) - self.misfit(
            expected.displayed, expected.heard
        )
        return change.T / STEP

    def mode(self, start: FloatArray) -> Mode:
        """Find the most probable set by Gauss–Newton steps, damped where they do not help.

        Parameters
        ----------
        start : (unknowns,) array
            White.
        """
        size = len(self)
        white = np.clip(start, -BOUND, BOUND)
        expected = self.expected(white[None])
        here = float(self.log_posterior(white[None], expected)[0])
        precision, steps, caution = np.eye(size), 0, 1.0
        converged = size == 0  # nothing to search for
        while steps < MOST_STEPS and not converged and caution <= MOST_CAUTION:
            steps += 1
            slopes = self.sensitivities(white, expected)
            misfit = self.misfit(expected.displayed, expected.heard)[0]
            weight = (DEGREES_OF_FREEDOM + 1) / (DEGREES_OF_FREEDOM + misfit**2)
            uphill = -(slopes.T @ (weight * misfit) + white)
            precision = slopes.T @ (weight[:, None] * slopes) + np.eye(size)
            free = (np.abs(white) < BOUND) | (uphill * white < 0)
            trials: FloatArray = np.tile(white, (len(DAMPINGS), 1))
            for trial, damping in zip(trials, DAMPINGS, strict=True):
                trial[free] += _step(white[free], misfit, slopes[:, free], damping * caution)
            trials = np.clip(trials, -BOUND, BOUND)
            converged = float(uphill @ (trials[0] - white)) / 2 < PROMISE
            tried = self.expected(trials)
            values = self.log_posterior(trials, tried)
            best = int(np.argmax(values))
            if values[best] > here:
                white, here = trials[best], float(values[best])
                expected = self._one(tried, best)
                caution = 1.0
            else:
                caution *= 100.0
        return Mode(
            white=white,
            expected=expected,
            precision=precision,
            at_bound=np.abs(white) >= BOUND,
            converged=converged,
            steps=steps,
        )

    def _fine_grid(self) -> tuple[FloatArray, FloatArray]:
        """What the default grid adds to the skin at the readings, K, and ln f at each length.

        Worked out in the middle of the prior; it changes little from there.
        """
        middle = self.prior.mean[None]
        fine = Forecaster(self.case, self.prior.names, self.forecaster.lengths, DEFAULT_NODES)
        coarse, better = self.forecaster.at(middle), fine.at(middle)
        first = np.zeros(1, dtype=np.intp)
        skin = better.skin_at(first, self.readings.position) - coarse.skin_at(
            first, self.readings.position
        )
        tone = np.log(better.frequency / coarse.frequency)
        return skin, np.where(np.isnan(tone), 0.0, tone)

    def _column_of(self, surface: str) -> int:
        """Column of the coordinate that shifts a surface's emissivity; −1 for none."""
        if surface == OWN and "emissivity" in self.prior.names:
            return self.prior.names.index("emissivity")
        if surface in self.patches:
            return len(self.prior.names) + self.patches.index(surface)
        return -1

    def _seen(self, forecast: Forecast, coordinates: FloatArray) -> Expected:
        sets, lengths = len(coordinates), len(self.forecaster.lengths)
        first = np.arange(sets) * lengths
        skin_off, tone_off = self._fine
        skin = forecast.skin_at(first, self.readings.position) + skin_off
        odds = np.zeros((sets, len(self.readings)))
        for i, column in enumerate(self._odds_column):
            if column >= 0:
                odds[:, i] = coordinates[:, column]
        radiant = forecast.case.surroundings.radiant_temperature[first]
        frequency = forecast.frequency.reshape(sets, lengths) * np.exp(tone_off)
        return Expected(
            forecast=forecast,
            displayed=self.readings.expected(skin, odds, radiant),
            heard=frequency[:, self._build] if len(self.heard) else np.empty((sets, 0)),
            frequency=frequency[:, 0],
        )

    def _one(self, expected: Expected, index: int) -> Expected:
        lengths = len(self.forecaster.lengths)
        rows = index * lengths + np.arange(lengths)
        return Expected(
            forecast=expected.forecast.take(rows),
            displayed=expected.displayed[index : index + 1],
            heard=expected.heard[index : index + 1],
            frequency=expected.frequency[index : index + 1],
        )


def _step(white: FloatArray, misfit: FloatArray, slopes: FloatArray, damping: float) -> FloatArray:
    """Step to the best set, were the model straight from here on.

    Weights of Student's distribution are found anew with each turn, which costs no solution of
    the model.
    """
    step = np.zeros_like(white)
    for _ in range(REWEIGHTED):
        then = misfit + slopes @ step
        weighted = slopes.T * ((DEGREES_OF_FREEDOM + 1) / (DEGREES_OF_FREEDOM + then**2))
        curved = weighted @ slopes + (1 + damping) * np.eye(len(white))
        step = np.asarray(np.linalg.solve(curved, -(weighted @ misfit + white)), dtype=np.float64)
    return step
