"""What would be displayed and heard with given unknowns: the model, and what stands between.

Between the model and the eye stand the lag of a branch that is still warming, the emissivity of
what the thermometer looked at, and, in a rival explanation, another state of affairs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import InputError
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.forecast import Forecast, Forecaster
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case
from warmbranch.fit.clock import WARMTH, Clock
from warmbranch.fit.readings import OWN, Heard, Readings
from warmbranch.fit.skin_in_time import TIMED_NODES, SkinInTime, Warming
from warmbranch.heat.grid import DEFAULT_NODES


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

    def one(self, index: int) -> Expected:
        """One of several sets."""
        lengths = len(self.forecast) // len(self.frequency)
        return Expected(
            forecast=self.forecast.take(index * lengths + np.arange(lengths)),
            displayed=self.displayed[index : index + 1],
            heard=self.heard[index : index + 1],
            frequency=self.frequency[index : index + 1],
        )


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


class ObservationModel:
    """One case and what was read and heard of it.

    A set of unknowns is told by its coordinates: those of the model, then an emissivity for each
    patch, then one of time, where it is unknown.

    Parameters
    ----------
    case : Case
        One design.
    readings : Readings
    heard : Heard
    prior : Calibration
        Its names are the model's unknowns, its mean the middle of what is believed.
    warming : Warming, optional
        The warm-up that readings and tones with a time were taken in.
    nodes : int
    warm : bool
        Whether what has no time is known to be of the settled branch.
    altered : Altered, optional
    like : ObservationModel, optional
        Of the same case, priors and tones, whose readings alone may be others.

    Raises
    ------
    InputError
        For a time without a warm-up.
    """

    def __init__(
        self,
        case: Case,
        readings: Readings,
        heard: Heard,
        prior: Calibration,
        warming: Warming | None,
        nodes: int,
        *,
        warm: bool,
        altered: Altered | None,
        like: ObservationModel | None = None,
    ) -> None:
        self._case, self._readings, self._prior = case, readings, prior
        self._altered, self._nodes = altered, nodes
        own = float(case.branch.length[0])
        others = dict.fromkeys(float(length) for length in heard.length if length != own)
        lengths = np.array([own, *others])
        self._build = np.array(
            [int(np.argmax(lengths == length)) for length in heard.length], dtype=np.intp
        )
        self.forecaster = Forecaster(case, prior.names, lengths, nodes)
        self.timed = np.flatnonzero(readings.timed)
        anything_timed = bool(np.any(readings.timed) or np.any(heard.timed))
        self.warming = _checked(warming, readings, heard) if anything_timed else None
        if like is None:
            middle = with_unknowns(case, prior.names, prior.mean[None])
            self.clock = Clock.of(
                middle, readings, heard, self.warming, warming, warm=warm or anything_timed
            )
        else:
            self.clock = like.clock.at(readings.position)
        self._odds_column = [self._column_of(name) for name in readings.surface]
        self._middles: tuple[Forecast, Forecast] | None = like and like._middles
        self._fine: tuple[FloatArray, FloatArray] | None = None

    def at(self, coordinates: FloatArray) -> Expected:
        """Solve the model for (sets, unknowns) coordinates."""
        model = coordinates[:, : len(self._prior.names)]
        if self._fine is None:
            # With the first sets goes the middle of the prior, which costs next to nothing there.
            both = self.forecaster.at(np.concatenate([model, self._prior.mean[None]]))
            last = len(model) * len(self.forecaster.lengths)
            self._fine = self._fine_grid(both.take(slice(last, None)))
            forecast = both.take(slice(last))
        else:
            forecast = self.forecaster.at(model)
        return self._seen(forecast, coordinates, self._skin_in_time(coordinates))

    def settled(self, coordinates: FloatArray) -> Expected:
        """The same with readings that have a time taken as of the settled branch."""
        model = coordinates[:, : len(self._prior.names)]
        return self._seen(self.forecaster.at(model), coordinates)

    def again(self, forecast: Forecast, coordinates: FloatArray) -> Expected:
        """What would be seen of the settled branch, of sets that were solved for the same case."""
        if self._fine is None:
            solved = self._middles
            coarse = self.forecaster.at(self._prior.mean[None]) if solved is None else solved[0]
            self._fine = self._fine_grid(coarse)
        return self._seen(forecast, coordinates)

    def in_time(self, expected: Expected, coordinates: FloatArray) -> FloatArray:
        """Displays, (sets, readings), K, where only those with a time follow the coordinates.

        Parameters
        ----------
        expected : Expected
            Of one set, whose settled branch the others have.
        coordinates : (sets, unknowns) array
        """
        lengths, names = len(self.forecaster.lengths), self._prior.names
        own = np.repeat(coordinates[:, : len(names)], lengths, axis=0)
        same = np.tile(np.arange(lengths), len(coordinates))
        # What a skin mirrors moves with the air, though the settled branch stays.
        case = with_unknowns(self._case, names, own)
        forecast = replace(expected.forecast.take(same), case=case)
        return self._seen(forecast, coordinates, self._skin_in_time(coordinates)).displayed

    def _fine_grid(self, coarse: Forecast) -> tuple[FloatArray, FloatArray]:
        """What the default grid adds to the skin at the readings, K, and ln f at each length.

        Worked out in the middle of the prior, where ``coarse`` is; it changes little from there.
        """
        prior = self._prior
        if self._middles is None:
            fine = Forecaster(self._case, prior.names, self.forecaster.lengths, DEFAULT_NODES)
            self._middles = coarse, fine.at(prior.mean[None])
        coarse, better = self._middles
        first, place = np.zeros(1, dtype=np.intp), self._readings.position
        skin = better.skin_at(first, place) - coarse.skin_at(first, place)
        tone = np.log(better.frequency / coarse.frequency)
        if len(self.timed):
            added = np.zeros(len(self._readings.patches) + bool(self.clock.name))
            middle = np.concatenate([prior.mean, added])[None]
            skin[:, self.timed] = self._skin_in_time(middle, DEFAULT_NODES)
            skin[:, self.timed] -= self._skin_in_time(middle)
        return skin, np.where(np.isnan(tone), 0.0, tone)

    def _column_of(self, surface: str) -> int:
        """Column of the coordinate that shifts a surface's emissivity; −1 for none."""
        names = self._prior.names
        if surface == OWN and "emissivity" in names:
            return names.index("emissivity")
        if surface in self._readings.patches:
            return len(names) + self._readings.patches.index(surface)
        return -1

    def _skin_in_time(self, coordinates: FloatArray, nodes: int = TIMED_NODES) -> FloatArray:
        """Skins of the readings with a time, (sets, timed), K."""
        if len(self.timed) == 0 or self.warming is None:
            return np.empty((len(coordinates), 0))
        names, read = self._prior.names, self._readings
        start = coordinates[:, -1] if self.warming.uncertain else np.zeros(len(coordinates))
        place, time = read.position[self.timed], read.time[self.timed]
        skins = SkinInTime(self._case, names, self.warming, place, time, nodes)
        return skins.at(coordinates[:, : len(names)], start)

    def _seen(
        self, forecast: Forecast, coordinates: FloatArray, in_time: FloatArray | None = None
    ) -> Expected:
        """What would be seen; without ``in_time`` all readings are of the settled branch."""
        sets, lengths = len(coordinates), len(self.forecaster.lengths)
        first = np.arange(sets) * lengths
        assert self._fine is not None, "who looks about a set has looked at it"
        skin_off, tone_off = self._fine
        skin = forecast.skin_at(first, self._readings.position)
        if in_time is not None:
            skin[:, self.timed] = in_time
        skin += skin_off
        around = forecast.case.surroundings
        air = around.air_temperature[first, None]
        if self.clock.name == WARMTH:
            skin = air + (skin - air) * self.clock.of_skin(coordinates)
        odds = np.zeros((sets, len(self._readings)))
        for i, column in enumerate(self._odds_column):
            if column >= 0:
                odds[:, i] = coordinates[:, column]
        frequency = forecast.frequency.reshape(sets, lengths) * np.exp(tone_off)
        if self._altered is not None:
            skin = air + (skin - air) * self._altered.skin
            frequency = frequency * self._altered.tone
        tones = frequency[:, self._build] * self.clock.of_tones(coordinates)
        radiant = around.radiant_temperature[first]
        return Expected(
            forecast=forecast,
            displayed=self._readings.expected(skin, odds, radiant),
            heard=tones,
            frequency=frequency[:, 0],
        )


def _checked(warming: Warming | None, readings: Readings, heard: Heard) -> Warming:
    """The warm-up that readings or tones ask for."""
    if warming is None:
        what, one, batch = "readings", "reading", readings
        if not np.any(readings.timed):
            what, one, batch = "heard", "tone", heard
        first = int(np.argmax(batch.timed))
        raise InputError(
            f"This {one} has a time, and no warm-up is told.",
            field=f"{what}.{first}.time",
            value=float(batch.time[first]),
            unit="s",
            remedy="Tell the warm-up, or leave the time of a settled branch out.",
        )
    return warming
