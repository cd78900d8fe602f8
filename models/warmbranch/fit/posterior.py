"""How well unknowns explain readings and tones heard, and the set that explains them best.

Unknowns are searched in white coordinates: independent, with mean 0 and spread 1 before any
reading. Errors that observations share are searched along with them, and integrated out of what
draws are weighed by. The misfit is that of Student's distribution, which grows so slowly far out
that one wild reading does not own the fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import FloatArray
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.draws import standard_normal
from warmbranch.belief.forecast import FIT_NODES, Forecast
from warmbranch.case.case import Case
from warmbranch.fit.clock import WARMTH
from warmbranch.fit.observation_model import Altered, Expected, ObservationModel
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.search import PROMISE, Summit, climb, log_posterior
from warmbranch.fit.shared import DRAWS, EAR, Conditional, Shared, given, most_likely
from warmbranch.fit.skin_in_time import Warming

STEP = 0.05
"""White step of the sensitivities, to either side: its square is far below what a search needs, and
what a solution is left short of by its tolerance far below what the step moves."""

STEP_IN_TIME = 0.3
"""The same through a warm-up, half of it to either side: skins then differ by kelvins, and the
warm-up's steps, which differ from set to set, by less than a tenth of one."""


@dataclass(frozen=True)
class Mode:
    """The most probable set of unknowns and shared errors.

    Parameters
    ----------
    summit : Summit
        Where the search ended; unknowns, then shared errors.
    expected : Expected
        What would be seen there without shared errors; one set.
    displayed : (readings,) array, K
    heard : (heard,) array, Hz
        What would be seen with them.
    """

    summit: Summit
    expected: Expected
    displayed: FloatArray
    heard: FloatArray


class InverseProblem:
    """One case, what was read and heard, and what was believed before.

    Parameters
    ----------
    case : Case
        One design.
    readings : Readings
    heard : Heard
    prior : Calibration
        Of the model's unknowns, by :meth:`Calibration.prior` or from an earlier fit.
    warming : Warming, optional
        The warm-up that readings and tones with a time were taken in.
    warm : bool
        Whether what has no time is known to be of the settled branch; it is, where anything has
        a time.
    known : frozenset of str
        Shared errors, by name, that are taken to be none; or the time since the start.
    altered : Altered, optional
    as_read : Case, optional
        The same branch in the state that the settled readings were taken in; tones are of
        ``case``.
    like : ObservationModel, optional
        Of the same problem with other readings.
    nodes : int
    """

    def __init__(
        self,
        case: Case,
        readings: Readings,
        heard: Heard,
        prior: Calibration,
        warming: Warming | None = None,
        nodes: int = FIT_NODES,
        *,
        warm: bool = False,
        known: frozenset[str] = frozenset(),
        altered: Altered | None = None,
        as_read: Case | None = None,
        like: ObservationModel | None = None,
    ) -> None:
        length = float(case.branch.length[0])
        readings.check(length)
        warm = warm or WARMTH in known
        self._told = (warming, warm, known)
        self.case, self.readings, self.heard, self.prior = case, readings, heard, prior
        self.patches, self.as_read = readings.patches, as_read
        self.shared = Shared.of(
            readings.position / length,
            readings.infrared,
            len(heard),
            float(self.state.surroundings.air_temperature[0]),
            mirrors=readings.by_mirrored(float(self.state.surroundings.radiant_temperature[0])),
            instrument=readings.instrument,
            known=known,
        )
        self._nodes = nodes
        self._model = ObservationModel(
            case,
            readings,
            heard,
            prior,
            warming,
            nodes,
            warm=warm,
            altered=altered,
            as_read=as_read,
            like=like,
        )
        self.clock, self.warming = self._model.clock, self._model.warming
        self._mean = np.concatenate([prior.mean, np.zeros(len(self) - len(prior.names))])
        self._root = np.zeros((len(self), len(self)))
        model = len(prior.names)
        self._root[:model, :model] = prior.symmetric_root
        for i, patch in enumerate(self.patches, start=model):
            self._root[i, i] = readings.spread_of(patch)
        if self.clock.name:
            self._root[-1, -1] = self.clock.spread
        self._counts = np.ones(len(readings) + len(heard))

    def __len__(self) -> int:
        """Unknowns: those of the model, then an emissivity for each patch, then one of time."""
        return len(self.prior.names) + len(self.patches) + bool(self.clock.name)

    @property
    def state(self) -> Case:
        """One design, in the state that settled readings were taken in."""
        return self.case if self.as_read is None else self.as_read

    @property
    def names(self) -> tuple[str, ...]:
        """Of all unknowns; a patch has the name of its surface."""
        return (*self.prior.names, *self.patches, self.clock.name)[: len(self)]

    def leave_out(self, heard: Sequence[int]) -> None:
        """Let some of the tones heard, by index, no longer count."""
        self._counts[len(self.readings) + np.array(heard, dtype=np.intp)] = 0.0

    def otherwise(self, readings: Readings, altered: Altered | None) -> InverseProblem:
        """The same with other readings, or in another state of affairs.

        Raises
        ------
        InputError
            For readings that cannot be.
        """
        warming, warm, known = self._told
        other = InverseProblem(
            self.case,
            readings,
            self.heard,
            self.prior,
            warming,
            self._nodes,
            warm=warm,
            known=known,
            altered=altered,
            as_read=self.as_read,
            like=self._model,
        )
        other._counts = self._counts.copy()
        return other

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

    def direction(self, name: str) -> FloatArray:
        """White step, (unknowns,), by which one of the model's unknowns alone grows by 1.

        In its own coordinate; nothing where it is known.
        """
        one = np.array([float(own == name) for own in self.names])
        return np.asarray(np.linalg.lstsq(self._root, one)[0], dtype=np.float64)

    def expected(self, white: FloatArray, sounding: Forecast | None = None) -> Expected:
        """Solve the model for (sets, unknowns) white coordinates.

        ``sounding`` is what the case itself says of them, where another problem has solved that.
        """
        return self._model.at(self.coordinates(white), sounding)

    def sees_again(self, other: InverseProblem) -> bool:
        """Whether what another problem of the same case has solved serves this one too."""
        same = self.names == other.names and self.as_read is other.as_read
        return same and not len(self._model.timed)

    def seen_again(self, white: FloatArray, expected: Expected) -> Expected:
        """What would be seen of sets that another problem of the same case has solved."""
        return self._model.again(expected, self.coordinates(white))

    def misfit(self, displayed: FloatArray, heard: FloatArray) -> FloatArray:
        """Residuals over their uncertainties, (sets, readings + heard); 0 for what is left out.

        Parameters
        ----------
        displayed : (sets, readings) array, K
        heard : (sets, heard) array, Hz
        """
        read = (self.readings.displayed - displayed) / self.readings.uncertainty
        tones = np.log(self.heard.frequency / heard) / self.heard.relative
        # Where the model has no resonance, a tone that was heard is as far off as can be.
        every = np.concatenate([read, np.where(np.isnan(tones), 1e3, tones)], axis=1)
        return every * self._counts

    def misfit_slopes(self, displayed: FloatArray, heard: FloatArray) -> FloatArray:
        """Slopes of the misfit, (readings + heard, unknowns), from those of what is seen.

        Of displays, K, and of the logarithms of the tones heard.
        """
        read = displayed / self.readings.uncertainty[:, None]
        tones = heard / self.heard.relative[:, None]
        return -np.concatenate([read, tones]) * self._counts[:, None]

    def shared_slopes(self, displayed: FloatArray) -> FloatArray:
        """Slopes of the misfit with the shared errors, (sets, readings + heard, shared)."""
        read = self.shared.moves(displayed) / self.readings.uncertainty[:, None]
        tones = self.shared.on_tone / self.heard.relative[:, None]
        tones = np.broadcast_to(tones, (len(displayed), *tones.shape))
        return -np.concatenate([read, tones], axis=1) * self._counts[:, None]

    def joint_misfit(
        self, displayed: FloatArray, heard: FloatArray, shared: FloatArray
    ) -> FloatArray:
        """The misfit, (sets, readings + heard), with (sets, shared) errors."""
        added = (self.shared_slopes(displayed) @ shared[:, :, None])[:, :, 0]
        return self.misfit(displayed, heard) + added

    def given(self, expected: Expected) -> Conditional:
        """Shared errors given what the model expects of each set."""
        return self.given_seen(expected.displayed, expected.heard)

    def given_seen(self, displayed: FloatArray, heard: FloatArray) -> Conditional:
        """The same given what is seen: (sets, readings), K, and (sets, heard), Hz."""
        return given(self.misfit(displayed, heard), self.shared_slopes(displayed))

    def ear(self, shared: Conditional, rows: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
        """ln(perceived over true tone) of some draws and its weights, each (rows, draws)."""
        if "ear" in self.shared.names:
            drawn = shared.draws[rows, :, self.shared.names.index("ear")]
            return EAR * drawn, shared.weights[rows]
        sure = "ear" in self._told[2]
        even = (0.0 if sure else EAR) * standard_normal(DRAWS, 1)[:, 0]
        size = len(rows)
        return np.tile(even, (size, 1)), np.full((size, DRAWS), 1 / DRAWS)

    def log_posterior(self, white: FloatArray, expected: Expected) -> FloatArray:
        """Logarithm of likelihood times prior, (sets,), but for a constant.

        The likelihood is that with the shared errors integrated out.
        """
        return self.given(expected).log_evidence - np.sum(white**2, axis=1) / 2

    def joint(self, white: FloatArray, expected: Expected) -> FloatArray:
        """White coordinates with the shared errors that are most likely given them, appended."""
        misfit = self.misfit(expected.displayed, expected.heard)
        shared, _ = most_likely(misfit, self.shared_slopes(expected.displayed))
        return np.concatenate([white, shared], axis=1)

    def sensitivities(self, joint: FloatArray, expected: Expected) -> FloatArray:
        """Slopes of the misfit, (readings + heard, unknowns + shared errors).

        By central differences: of so many sets at once they cost less than a Jacobian.
        """
        size = len(self)
        by_shared = self.shared_slopes(expected.displayed)[0]
        if size == 0:
            return by_shared
        white, shared = joint[:size], joint[size:]
        aside = STEP * np.concatenate([np.eye(size), -np.eye(size)])
        moved = self._model.settled(self.coordinates(white + aside))
        # Who has no resonance, or no solution, tells no slope.
        displayed, heard = (
            np.where(np.isnan(after), before, after)
            for after, before in (
                (moved.displayed, expected.displayed),
                (moved.heard, expected.heard),
            )
        )
        misfit = self.joint_misfit(displayed, heard, np.tile(shared, (2 * size, 1)))
        slopes = (misfit[:size] - misfit[size:]).T / (2 * STEP)
        if len(self._model.timed):
            slopes[self._model.timed] = self._slopes_in_time(white, expected)
        return np.concatenate([slopes, by_shared], axis=1)

    def _slopes_in_time(self, white: FloatArray, expected: Expected) -> FloatArray:
        """The same of the readings with a time, (timed, unknowns), by central differences."""
        size = len(self)
        aside = STEP_IN_TIME / 2 * np.concatenate([np.eye(size), -np.eye(size)])
        seen = self._model.in_time(expected, self.coordinates(white + aside))
        misfit = self.misfit(seen, np.repeat(expected.heard, 2 * size, axis=0))
        misfit = misfit[:, self._model.timed]
        return (misfit[:size] - misfit[size:]).T / STEP_IN_TIME

    def mode(self, starts: FloatArray, promise: float = PROMISE, *, least: float = -np.inf) -> Mode:
        """Search the most probable set from the best of some (starts, unknowns + shared errors).

        ``promise`` and ``least`` as for :func:`climb`.
        """
        ground = _Ground(self)
        summit = climb(ground, starts, promise, least=least)
        expected, size = ground.at(summit.white), len(self)
        shared = summit.white[size:]
        return Mode(
            summit,
            expected,
            expected.displayed[0] + self.shared.moves(expected.displayed)[0] @ shared,
            expected.heard[0] * np.exp(self.shared.on_tone @ shared),
        )

    def at_best(self, mode: Mode) -> float:
        """Logarithm of likelihood times prior of unknowns and shared errors, but for a constant."""
        misfit = self.misfit(mode.displayed[None], mode.heard[None])
        return float(log_posterior(mode.summit.white[None], misfit)[0])

    def strain(self, mode: Mode) -> float:
        """How far the most probable set is from all beliefs, over what is usual.

        Half of a sum of squares, less its part for each observation.
        """
        return -self.at_best(mode) - self.counted / 4

    def laplace(self, mode: Mode) -> float:
        """Logarithm of that integrated over all of them, by Laplace's approximation.

        The prior's and the integral's (2π)^(d/2) cancel.
        """
        return self.at_best(mode) - float(np.linalg.slogdet(mode.summit.precision)[1]) / 2

    @property
    def solved_for(self) -> int:
        """Unknowns that a stand-in stands in for: all but the time since the start."""
        return len(self) - (self.clock.name == WARMTH)


class _Ground:
    """The model, to be climbed."""

    def __init__(self, problem: InverseProblem) -> None:
        self._problem = problem
        self._seen: list[tuple[FloatArray, Expected]] = []

    def misfits(self, white: FloatArray) -> FloatArray:
        size = len(self._problem)
        expected = self._problem.expected(white[:, :size])
        self._seen = [*self._seen[-1:], (white, expected)]
        return self._problem.joint_misfit(expected.displayed, expected.heard, white[:, size:])

    def slopes(self, row: int) -> FloatArray:
        white, expected = self._seen[-1]
        return self._problem.sensitivities(white[row], expected.one(row))

    def at(self, white: FloatArray) -> Expected:
        """What would be seen at a set that was looked at in the last two calls."""
        for looked, expected in reversed(self._seen):
            same = np.all(looked == white, axis=1)
            if np.any(same):
                return expected.one(int(np.argmax(same)))
        return self._problem.expected(white[None, : len(self._problem)])
