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
from warmbranch.base.errors import InputError
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.draws import standard_normal
from warmbranch.belief.forecast import FIT_NODES, Forecast, Forecaster
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case
from warmbranch.fit.clock import WARMTH, Clock
from warmbranch.fit.readings import OWN, Heard, Readings
from warmbranch.fit.search import Summit, climb
from warmbranch.fit.shared import DRAWS, EAR, Conditional, Shared, given, most_likely
from warmbranch.fit.skin_in_time import SkinInTime, Warming
from warmbranch.heat.grid import DEFAULT_NODES

STEP = 1e-3
"""White step of the sensitivities, to either side: its square is far below what a search needs."""

STEP_IN_TIME = 0.3
"""The same through a warm-up, half of it to either side: skins then differ by kelvins, and the
warm-up's steps, which differ from set to set, by less than a tenth of one."""


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
class Altered:
    """What another state of affairs makes of what the model expects.

    Parameters
    ----------
    skin : (readings,) array, dimensionless
        Factors on the skin's excess over the air.
    tone : float, dimensionless
        Factor on every resonance.
    """

    skin: FloatArray
    tone: float


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
    warming : Warming, optional
        The warm-up that readings and tones with a time were taken in.
    warm : bool
        Whether what has no time is known to be of the settled branch; it is, where anything has
        a time.
    known : frozenset of str
        Shared errors, by name, that are taken to be none; or the time since the start.
    altered : Altered, optional
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
    ) -> None:
        length = float(case.branch.length[0])
        readings.check(length)
        warm = warm or WARMTH in known
        self._told, self._altered = (warming, warm, known), altered
        self.case, self.readings, self.heard, self.prior = case, readings, heard, prior
        self.patches = readings.patches
        self.shared = Shared.of(
            readings.position / length,
            readings.infrared,
            len(heard),
            float(case.surroundings.air_temperature[0]),
            known=known,
        )
        own = length
        others = dict.fromkeys(float(length) for length in heard.length if length != own)
        lengths = np.array([own, *others])
        self._build = np.array([int(np.argmax(lengths == length)) for length in heard.length])
        self.forecaster = Forecaster(case, prior.names, lengths, nodes)
        self._timed = np.flatnonzero(readings.timed)
        anything_timed = bool(np.any(readings.timed) or np.any(heard.timed))
        self.warming = self._checked(warming) if anything_timed else None
        middle = with_unknowns(case, prior.names, prior.mean[None])
        self.clock = Clock.of(
            middle, readings, heard, self.warming, warming, warm=warm or anything_timed
        )
        self._nodes = nodes
        self._mean = np.concatenate([prior.mean, np.zeros(len(self) - len(prior.names))])
        self._root = np.zeros((len(self), len(self)))
        model = len(prior.names)
        self._root[:model, :model] = prior.root
        for i, patch in enumerate(self.patches, start=model):
            self._root[i, i] = readings.spread_of(patch)
        if self.clock.name:
            self._root[-1, -1] = self.clock.spread
        self._counts = np.ones(len(readings) + len(heard))
        self._odds_column = [self._column_of(name) for name in readings.surface]
        self._fine: tuple[FloatArray, FloatArray] | None = None

    def __len__(self) -> int:
        """Unknowns: those of the model, then an emissivity for each patch, then one of time."""
        return len(self.prior.names) + len(self.patches) + bool(self.clock.name)

    @property
    def names(self) -> tuple[str, ...]:
        """Of all unknowns; a patch has the name of its surface."""
        return (*self.prior.names, *self.patches, self.clock.name)[: len(self)]

    def leave_out(self, heard: Sequence[int]) -> None:
        """Let some of the tones heard, by index, no longer count."""
        self._counts[len(self.readings) + np.array(heard, dtype=np.intp)] = 0.0

    def otherwise(self, readings: Readings, altered: Altered | None) -> Problem:
        """The same with other readings, or in another state of affairs.

        Raises
        ------
        InputError
            For readings that cannot be.
        """
        warming, warm, known = self._told
        other = Problem(
            self.case,
            readings,
            self.heard,
            self.prior,
            warming,
            self._nodes,
            warm=warm,
            known=known,
            altered=altered,
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

    def expected(self, white: FloatArray) -> Expected:
        """Solve the model for (sets, unknowns) white coordinates."""
        coordinates = self.coordinates(white)
        model = coordinates[:, : len(self.prior.names)]
        if self._fine is None:
            # With the first sets goes the middle of the prior, which costs next to nothing there.
            both = self.forecaster.at(np.concatenate([model, self.prior.mean[None]]))
            last = len(model) * len(self.forecaster.lengths)
            self._fine = self._fine_grid(both.take(slice(last, None)))
            forecast = both.take(slice(last))
        else:
            forecast = self.forecaster.at(model)
        return self._seen(forecast, coordinates, self._skin_in_time(coordinates))

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
        misfit = self.misfit(expected.displayed, expected.heard)
        return given(misfit, self.shared_slopes(expected.displayed))

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

        By the solved Jacobian of the model: see :meth:`Forecaster.near`.
        """
        size, model = len(self), len(self.prior.names)
        by_shared = self.shared_slopes(expected.displayed)[0]
        if size == 0:
            return by_shared
        white, shared = joint[:size], joint[size:]
        directions = self._root.T[:, :model]
        middle = self.coordinates(white[None])[0, :model]
        if model:
            forecast = self.forecaster.near(expected.forecast, middle, directions, STEP)
        else:  # nothing of the model is unknown
            same = np.tile(np.arange(len(self.forecaster.lengths)), 2 * size)
            forecast = expected.forecast.take(same)
        aside = STEP * np.concatenate([np.eye(size), -np.eye(size)])
        moved = self._seen(forecast, self.coordinates(white + aside))
        misfit = self.joint_misfit(moved.displayed, moved.heard, np.tile(shared, (2 * size, 1)))
        slopes = (misfit[:size] - misfit[size:]).T / (2 * STEP)
        if len(self._timed):
            slopes[self._timed] = self._slopes_in_time(white, expected)
        return np.concatenate([slopes, by_shared], axis=1)

    def _slopes_in_time(self, white: FloatArray, expected: Expected) -> FloatArray:
        """The same of the readings with a time, (timed, unknowns), by central differences."""
        size = len(self)
        aside = STEP_IN_TIME / 2 * np.concatenate([np.eye(size), -np.eye(size)])
        coordinates = self.coordinates(white + aside)
        same = expected.forecast.take(np.zeros(2 * size * len(self.forecaster.lengths), np.intp))
        seen = self._seen(same, coordinates, self._skin_in_time(coordinates)).displayed
        misfit = self.misfit(seen, np.repeat(expected.heard, 2 * size, axis=0))[:, self._timed]
        return (misfit[:size] - misfit[size:]).T / STEP_IN_TIME

    def mode(self, starts: FloatArray) -> Mode:
        """Search the most probable set from the best of some (starts, unknowns + shared errors)."""
        ground = _Ground(self)
        summit = climb(ground, starts)
        expected, size = ground.at(summit.white), len(self)
        shared = summit.white[size:]
        return Mode(
            summit,
            expected,
            expected.displayed[0] + self.shared.moves(expected.displayed)[0] @ shared,
            expected.heard[0] * np.exp(self.shared.on_tone @ shared),
        )

    def _fine_grid(self, coarse: Forecast) -> tuple[FloatArray, FloatArray]:
        """What the default grid adds to the skin at the readings, K, and ln f at each length.

        Worked out in the middle of the prior, where ``coarse`` is; it changes little from there.
        """
        fine = Forecaster(self.case, self.prior.names, self.forecaster.lengths, DEFAULT_NODES)
        better = fine.at(self.prior.mean[None])
        first = np.zeros(1, dtype=np.intp)
        skin = better.skin_at(first, self.readings.position) - coarse.skin_at(
            first, self.readings.position
        )
        tone = np.log(better.frequency / coarse.frequency)
        if len(self._timed):
            skin[:, self._timed] = self._skin_in_time(self._mean[None], DEFAULT_NODES)
            skin[:, self._timed] -= self._skin_in_time(self._mean[None])
        return skin, np.where(np.isnan(tone), 0.0, tone)

    def _column_of(self, surface: str) -> int:
        """Column of the coordinate that shifts a surface's emissivity; −1 for none."""
        if surface == OWN and "emissivity" in self.prior.names:
            return self.prior.names.index("emissivity")
        if surface in self.patches:
            return len(self.prior.names) + self.patches.index(surface)
        return -1

    @property
    def solved_for(self) -> int:
        """Unknowns that a stand-in stands in for: all but the time since the start."""
        return len(self) - (self.clock.name == WARMTH)

    def _checked(self, warming: Warming | None) -> Warming | None:
        """The warm-up, where readings or tones ask for one."""
        if warming is None:
            what, timed, given = "readings", self.readings.timed, self.readings.time
            if not np.any(timed):
                what, timed, given = "heard", self.heard.timed, self.heard.time
            first = int(np.argmax(timed))
            raise InputError(
                f"This {'reading' if what == 'readings' else 'tone'} has a time, and no warm-up "
                "is told.",
                field=f"{what}.{first}.time",
                value=float(given[first]),
                unit="s",
                remedy="Tell the warm-up, or leave the time of a settled branch out.",
            )
        return warming

    def _skin_in_time(self, coordinates: FloatArray, nodes: int | None = None) -> FloatArray:
        """Skins of the readings with a time, (sets, timed), K."""
        if len(self._timed) == 0 or self.warming is None:
            return np.empty((len(coordinates), 0))
        names = self.prior.names
        start = coordinates[:, -1] if self.warming.uncertain else np.zeros(len(coordinates))
        position, time = self.readings.position[self._timed], self.readings.time[self._timed]
        skins = SkinInTime(self.case, names, self.warming, position, time, nodes or self._nodes)
        return skins.at(coordinates[:, : len(names)], start)

    def _seen(
        self, forecast: Forecast, coordinates: FloatArray, in_time: FloatArray | None = None
    ) -> Expected:
        """What would be seen; without ``in_time`` all readings are of the settled branch."""
        sets, lengths = len(coordinates), len(self.forecaster.lengths)
        first = np.arange(sets) * lengths
        assert self._fine is not None, "who looks about a set has looked at it"
        skin_off, tone_off = self._fine
        skin = forecast.skin_at(first, self.readings.position)
        if in_time is not None:
            skin[:, self._timed] = in_time
        skin += skin_off
        radiant = forecast.case.surroundings.radiant_temperature[first]
        if self.clock.name == WARMTH:
            air = forecast.case.surroundings.air_temperature[first, None]
            skin = air + (skin - air) * self.clock.of_skin(coordinates)
        odds = np.zeros((sets, len(self.readings)))
        for i, column in enumerate(self._odds_column):
            if column >= 0:
                odds[:, i] = coordinates[:, column]
        frequency = forecast.frequency.reshape(sets, lengths) * np.exp(tone_off)
        if self._altered is not None:
            air = forecast.case.surroundings.air_temperature[first, None]
            skin = air + (skin - air) * self._altered.skin
            frequency = frequency * self._altered.tone
        tones = frequency[:, self._build] if len(self.heard) else np.empty((sets, 0))
        tones = tones * self.clock.of_tones(coordinates)
        return Expected(
            forecast=forecast,
            displayed=self.readings.expected(skin, odds, radiant),
            heard=tones,
            frequency=frequency[:, 0],
        )

    def one(self, expected: Expected, index: int) -> Expected:
        """One of several sets."""
        lengths = len(self.forecaster.lengths)
        rows = index * lengths + np.arange(lengths)
        return Expected(
            forecast=expected.forecast.take(rows),
            displayed=expected.displayed[index : index + 1],
            heard=expected.heard[index : index + 1],
            frequency=expected.frequency[index : index + 1],
        )


class _Ground:
    """The model, to be climbed."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self._seen: list[tuple[FloatArray, Expected]] = []

    def misfits(self, white: FloatArray) -> FloatArray:
        size = len(self._problem)
        expected = self._problem.expected(white[:, :size])
        self._seen = [*self._seen[-1:], (white, expected)]
        return self._problem.joint_misfit(expected.displayed, expected.heard, white[:, size:])

    def slopes(self, row: int) -> FloatArray:
        white, expected = self._seen[-1]
        return self._problem.sensitivities(white[row], self._problem.one(expected, row))

    def at(self, white: FloatArray) -> Expected:
        """What would be seen at a set that was looked at in the last two calls."""
        for looked, expected in reversed(self._seen):
            same = np.all(looked == white, axis=1)
            if np.any(same):
                return self._problem.one(expected, int(np.argmax(same)))
        return self._problem.expected(white[None, : len(self._problem)])
