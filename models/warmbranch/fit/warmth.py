"""How far skins and tone lag behind those of the warm branch, and the time since the start.

Whoever reads and listens says "warm" and means anything from some minutes after the start. Without
a time, the time is one more unknown, whose prior has most branches warm and some not. Lags are
those of the middle of the prior, worked out once: they differ little between believable branches.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from importlib import import_module
from typing import Any, cast

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.interpolation import interpolated
from warmbranch.belief.forecast import FIT_NODES
from warmbranch.case.case import Case
from warmbranch.sound.resonance import resonances
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up
from warmbranch.warming.storage import WrapHeat
from warmbranch.warming.wander import ducts

WARM_TIME = 2400.0
"""s. Median of the time since the start, where none is told. Our judgement: a drive to the shop."""

WARM_TIME_SPREAD = 0.9
"""One standard deviation of its logarithm: one job in seven is read within a quarter of an hour."""

FAR = 8.0
"""White coordinate beyond which all is cold, or settled for long: times stay numbers."""

SETTLED = 7200.0
"""s after the start at which everything is taken to be warm."""

MOMENTS = np.geomspace(30.0, SETTLED, 20)
"""s. The lags are told at these, and hold beyond their ends."""

LAG_TOLERANCE = 0.5
"""K, of a step in time: a lag is known no better than the engine's start."""

Smooth = Callable[[FloatArray], FloatArray]
"""From ln(time, s) to values."""


@dataclass(frozen=True)
class Lags:
    """What is seen at some moments after the start, over what is seen when warm.

    Parameters
    ----------
    skin : (moments, readings) array, dimensionless
        Of the skin's excess over the air.
    tone : (moments,) array, dimensionless
        Of the first resonance.
    along : (nodes,) array, m
    excess : (moments, nodes) array, K
        Of the skin over the air, all along the branch.
    """

    skin: FloatArray
    tone: FloatArray
    along: FloatArray
    excess: FloatArray

    @classmethod
    def of(
        cls, case: Case, position: FloatArray, drive: Drive, wrap: WrapHeat | None = None
    ) -> Lags:
        """Of one design at (readings,) positions, m, after a named start.

        Raises
        ------
        NotConvergedError
        """
        found = warm_up(
            case,
            replace(drive, duration=SETTLED),
            MOMENTS,
            wrap=wrap,
            tolerance=LAG_TOLERANCE,
            nodes=FIT_NODES,
        )
        excess = np.ascontiguousarray(found.skin[0]) - float(case.surroundings.air_temperature[0])
        tone = resonances(ducts(found)[0], modes=1)[0][:, 0]
        # Where there is no resonance, nothing is known to lag.
        tone = np.nan_to_num(_over_last(tone), nan=1.0)
        return cls(np.empty((len(MOMENTS), 0)), tone, found.position[0], excess).at(position)

    def at(self, position: FloatArray) -> Lags:
        """Those of readings at other (readings,) positions, m, of the same branch."""
        along = np.tile(self.along, (len(MOMENTS), 1))
        return replace(self, skin=_over_last(interpolated(along, self.excess, position)))

    def of_skin(self, time: FloatArray) -> FloatArray:
        """Lags of the readings' skins, (sets, readings), at (sets,) times, s."""
        return self.of_both(time)[0]

    def of_tone(self, time: FloatArray) -> FloatArray:
        """Lags of the tone at times of any shape, s."""
        return _along(self._smooth_tone, time)

    def of_both(self, time: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Lags of skins, (sets, readings), and of the tone, (sets,), at (sets,) times, s."""
        both = _along(self._smooth, time)
        return both[:, :-1], both[:, -1]

    @cached_property
    def _smooth(self) -> Smooth:
        return _smooth(np.column_stack([self.skin, self.tone]))

    @cached_property
    def _smooth_tone(self) -> Smooth:
        return _smooth(self.tone)


def _smooth(values: FloatArray) -> Smooth:
    """Through values at ``MOMENTS``, over ln s, without kinks, on which a search would stop."""
    scipy = cast("Any", import_module("scipy.interpolate"))  # it ships no types
    return scipy.PchipInterpolator(np.log(MOMENTS), values, axis=0)


def _along(smooth: Smooth, time: FloatArray) -> FloatArray:
    return np.asarray(smooth(np.log(np.clip(time, MOMENTS[0], MOMENTS[-1]))), dtype=np.float64)


def _over_last(values: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        over = values / values[-1]
    return np.where(np.isfinite(over), over, 1.0)


def time_of(coordinate: FloatArray) -> FloatArray:
    """s since the start, from a white coordinate."""
    return WARM_TIME * np.exp(WARM_TIME_SPREAD * np.clip(coordinate, -FAR, FAR))


def coordinate_of(time: float) -> float:
    """White coordinate of a time since the start, s: see :func:`time_of`."""
    return float(np.log(time / WARM_TIME) / WARM_TIME_SPREAD)
