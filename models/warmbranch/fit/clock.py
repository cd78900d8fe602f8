"""The unknown of time: how fast the engine starts, or how long ago it was started.

Where readings or tones carry a time, the time constants of a named start are uncertain. Where
nothing does and nobody says that the branch was warm, the time since the start is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.warmth import MOMENTS, SETTLED, Lags, time_of
from warmbranch.warming.drive import Drive

START = "start_time_factor"
"""Name of the factor on a named start's time constants."""

WARMTH = "time_since_start"
"""Name of the time since the start."""

LEAST_LAG = 0.2
"""A skin that has warmed by less tells nothing of the warm one."""


@dataclass(frozen=True)
class Clock:
    """What is unknown of time, the last coordinate of a problem.

    Parameters
    ----------
    name : str
        ``START``, ``WARMTH``, or empty where nothing is unknown.
    spread : float
        One standard deviation of the coordinate.
    lags : Lags or None
        Where the time is unknown, or a tone has one.
    heard : (heard,) array, s
        Times of the tones heard; NaN for the settled branch.
    air : float, K
    """

    name: str
    spread: float
    lags: Lags | None
    heard: FloatArray
    air: float

    @classmethod
    def of(
        cls,
        middle: Case,
        readings: Readings,
        heard: Heard,
        used: Warming | None,
        told: Warming | None,
        *,
        warm: bool,
    ) -> Clock:
        """Of observations of one design.

        Parameters
        ----------
        middle : Case
            With the middles of the priors.
        readings, heard
        used : Warming or None
            The warm-up that something was read or heard in.
        told : Warming or None
            The warm-up as told, used or not.
        warm : bool
            Whether what has no time is known to be of the settled branch.

        Raises
        ------
        NotConvergedError
        """
        named = told is None or (told.drive.lag is not None and not told.drive.warm)
        nothing = len(readings) + len(heard) == 0
        flows = bool(middle.main_pipe.mass_flow[0] > 0)
        if used is not None:
            name, spread = (START, used.start_spread) if used.uncertain else ("", 0.0)
        elif warm or nothing or not flows or not named:
            name, spread = "", 0.0
        else:
            name, spread = WARMTH, 1.0
        lags = None
        if name == WARMTH or np.any(heard.timed):
            drive = Drive.cold_start(SETTLED) if told is None else told.drive
            lags = Lags.of(middle, readings.position, drive, None if told is None else told.wrap)
        air = float(middle.surroundings.air_temperature[0])
        return cls(name, spread, lags, heard.time, air)

    def at(self, position: FloatArray) -> Clock:
        """The same with readings at other (readings,) positions, m."""
        return self if self.lags is None else replace(self, lags=self.lags.at(position))

    def of_skin(self, coordinates: FloatArray) -> FloatArray:
        """Skins' excess over the air over that of the warm branch, (sets, readings)."""
        assert self.lags is not None
        return self.lags.of_skin(time_of(coordinates[:, -1]))

    def of_tones(self, coordinates: FloatArray) -> FloatArray:
        """Tones heard over those of the warm branch, (sets, heard)."""
        sets, timed = len(coordinates), ~np.isnan(self.heard)
        if self.lags is None:
            return np.ones((sets, len(timed)))
        if self.name == WARMTH:
            return np.tile(self.lags.of_tone(time_of(coordinates[:, -1]))[:, None], len(timed))
        pace = np.exp(coordinates[:, -1]) if self.name == START else np.ones(sets)
        # A start that takes twice as long is after four minutes where the other was after two.
        since = np.where(timed, self.heard, SETTLED) / pace[:, None]
        return np.where(timed, self.lags.of_tone(np.maximum(since, MOMENTS[0])), 1.0)

    def lagging(
        self, displayed: FloatArray, tones: FloatArray, white: FloatArray, *, off: bool = False
    ) -> tuple[FloatArray, FloatArray]:
        """What a display and the logarithm of a tone of the warm branch become at the set's time.

        Near enough for a stand-in: a display lags as its skin does. Nothing changes where the time
        is known; ``off`` takes the lag off again.
        """
        if self.name != WARMTH:
            return displayed, tones
        assert self.lags is not None
        skin, tone = self.lags.of_both(time_of(white[:, -1]))
        skin, tone = np.maximum(skin, LEAST_LAG), np.log(tone)[:, None]
        if off:
            return self.air + (displayed - self.air) / skin, tones - tone
        return self.air + (displayed - self.air) * skin, tones + tone
