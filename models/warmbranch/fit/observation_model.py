"""What would be displayed and heard with given unknowns: the model, and what stands between.

Between the model and the eye stand the lag of a branch that is still warming, the emissivity of
what the thermometer looked at, and, in a rival explanation, another state of affairs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

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
    read : Forecast or None
        One design a set, in the state that was read; None where that is the first of each set's.
    displayed : (sets, readings) array, K
    heard : (sets, heard) array, Hz
    frequency : (sets,) array, Hz
        First resonance at the first length.
    """

    forecast: Forecast
    read: Forecast | None
    displayed: FloatArray
    heard: FloatArray
    frequency: FloatArray

    @property
    def lengths(self) -> int:
        """Designs of ``forecast`` a set."""
        return len(self.forecast) // len(self.frequency)

    @property
    def skins(self) -> tuple[FloatArray, FloatArray]:
        """Positions, m, and the settled skin there as it is read, K; (sets, nodes) each."""
        every = self.lengths if self.read is None else 1
        profile = (self.read or self.forecast).profile
        return profile.position[::every], profile.skin[::every]

    def one(self, index: int) -> Expected:
        """One of several sets."""
        lengths = self.lengths
        return Expected(
            forecast=self.forecast.take(index * lengths + np.arange(lengths)),
            read=self.read and self.read.take(np.array([index])),
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


OF_THE_TONE = frozenset({"air_speed"})
"""Unknowns of the state that sounds: that which was read has its own."""


class _Solved(NamedTuple):
    """The state that sounds, at every length, and that which was read, where it is another."""

    forecast: Forecast
    read: Forecast | None

    @property
    def as_read(self) -> Forecast:
        return self.read or self.forecast

    def take(self, start: int, stop: int, lengths: int) -> _Solved:
        """Some of the sets."""
        return _Solved(
            self.forecast.take(slice(start * lengths, stop * lengths)),
            self.read and self.read.take(slice(start, stop)),
        )


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
    as_read : Case, optional
        One design, the same branch in the state that the settled readings were taken in.
    like : ObservationModel, optional
        Of the same cases, priors and tones, whose readings alone may be others.

    Raises
    ------
    InputError
        For a time without a warm-up, or with a state of its own.
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
        as_read: Case | None = None,
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
        same = as_read is None or case.is_like(as_read)
        self._as_read = None if same else as_read
        self._read_by = [i for i, name in enumerate(prior.names) if name not in OF_THE_TONE]
        self._reader = self._reader_on(nodes)
        self.timed = np.flatnonzero(readings.timed)
        anything_timed = bool(np.any(readings.timed) or np.any(heard.timed))
        self.warming = _checked(warming, readings, heard) if anything_timed else None
        if as_read is not None and len(self.timed):
            raise _told_twice(readings)
        if like is None:
            middle = with_unknowns(case, prior.names, prior.mean[None])
            self.clock = Clock.of(
                middle, readings, heard, self.warming, warming, warm=warm or anything_timed
            )
        else:
            self.clock = like.clock.at(readings.position)
        self._odds_column = [self._column_of(name) for name in readings.surface]
        self._middles: tuple[_Solved, _Solved] | None = like and like._middles
        self._fine: tuple[FloatArray, FloatArray] | None = None

    def _reader_on(self, nodes: int) -> Forecaster | None:
        """Of the state that was read; None where that is the case's own."""
        if self._as_read is None:
            return None
        names = [self._prior.names[i] for i in self._read_by]
        return Forecaster(self._as_read, names, self._as_read.branch.length, nodes)

    def _read(self, reader: Forecaster | None, model: FloatArray) -> Forecast | None:
        return None if reader is None else reader.at(model[:, self._read_by])

    def _solve(self, model: FloatArray, sounding: Forecast | None = None) -> _Solved:
        """The state that sounds, unless that is known, and that which was read."""
        forecast = self.forecaster.at(model) if sounding is None else sounding
        return _Solved(forecast, self._read(self._reader, model))

    def at(self, coordinates: FloatArray, sounding: Forecast | None = None) -> Expected:
        """Solve the model for (sets, unknowns) coordinates, of which ``sounding`` may be known."""
        model = coordinates[:, : len(self._prior.names)]
        if self._fine is None and sounding is None:
            # With the first sets goes the middle of the prior, which costs next to nothing there.
            both = self._solve(np.concatenate([model, self._prior.mean[None]]))
            lengths, last = len(self.forecaster.lengths), len(model)
            self._fine = self._fine_grid(both.take(last, last + 1, lengths))
            solved = both.take(0, last, lengths)
        else:
            self._look_at_the_middle()
            solved = self._solve(model, sounding)
        return self._seen(solved, coordinates, self._skin_in_time(coordinates))

    def _look_at_the_middle(self) -> None:
        """Know what the default grid adds, unless that is known."""
        if self._fine is None:
            solved = self._middles
            coarse = self._solve(self._prior.mean[None]) if solved is None else solved[0]
            self._fine = self._fine_grid(coarse)

    def settled(self, coordinates: FloatArray) -> Expected:
        """The same with readings that have a time taken as of the settled branch."""
        model = coordinates[:, : len(self._prior.names)]
        return self._seen(self._solve(model), coordinates)

    def again(self, expected: Expected, coordinates: FloatArray) -> Expected:
        """What would be seen of the settled branch, of sets that were solved for the same cases."""
        self._look_at_the_middle()
        return self._seen(_Solved(expected.forecast, expected.read), coordinates)

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
        solved = _Solved(forecast, None)
        return self._seen(solved, coordinates, self._skin_in_time(coordinates)).displayed

    def _fine_grid(self, coarse: _Solved) -> tuple[FloatArray, FloatArray]:
        """What the default grid adds to the skin at the readings, K, and ln f at each length.

        Worked out in the middle of the prior, where ``coarse`` is; it changes little from there.
        """
        prior, middle = self._prior, self._prior.mean[None]
        if self._middles is None:
            fine = Forecaster(self._case, prior.names, self.forecaster.lengths, DEFAULT_NODES)
            read = self._read(self._reader_on(DEFAULT_NODES), middle)
            self._middles = coarse, _Solved(fine.at(middle), read)
        coarse, better = self._middles
        first, place = np.zeros(1, dtype=np.intp), self._readings.position
        skin = better.as_read.skin_at(first, place) - coarse.as_read.skin_at(first, place)
        tone = np.log(better.forecast.frequency / coarse.forecast.frequency)
        if len(self.timed):
            added = np.zeros(len(self._readings.patches) + bool(self.clock.name))
            whole = np.concatenate([prior.mean, added])[None]
            skin[:, self.timed] = self._skin_in_time(whole, DEFAULT_NODES)
            skin[:, self.timed] -= self._skin_in_time(whole)
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
        self, solved: _Solved, coordinates: FloatArray, in_time: FloatArray | None = None
    ) -> Expected:
        """What would be seen; without ``in_time`` all readings are of the settled branch."""
        sets, lengths = len(coordinates), len(self.forecaster.lengths)
        first = np.arange(sets) * lengths
        assert self._fine is not None, "who looks about a set has looked at it"
        skin_off, tone_off = self._fine
        forecast, read = solved.forecast, solved.as_read
        seen = first if solved.read is None else np.arange(sets)
        skin = read.skin_at(seen, self._readings.position)
        if in_time is not None:
            skin[:, self.timed] = in_time
        skin += skin_off
        around = read.case.surroundings
        air = around.air_temperature[seen, None]
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
        radiant = around.radiant_temperature[seen]
        return Expected(
            forecast=forecast,
            read=solved.read,
            displayed=self._readings.expected(skin, odds, radiant),
            heard=tones,
            frequency=frequency[:, 0],
        )


def _told_twice(readings: Readings) -> InputError:
    first = int(np.argmax(readings.timed))
    return InputError(
        "This reading has a time, and another state is told for readings without one.",
        field=f"readings.{first}.time",
        value=float(readings.time[first]),
        unit="s",
        remedy="Tell the warm-up or the state, not both.",
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
