"""Skin temperatures where and when readings were taken during a warm-up, for sets of unknowns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import skin_at
from warmbranch.warming.storage import WrapHeat

START_SPREAD = 0.35
"""One standard deviation of the logarithm of a named start's time constants: within a factor of
two in 95 % of engines. Our judgement; no measurement stands behind it."""

READING_TOLERANCE = 0.3
"""K, of a step in time: a seventh of what a hand instrument is uncertain by."""

TIMED_NODES = 33
"""Nodes along the branch of each set's warm-up. With what a finer grid adds in the middle of the
prior, skins are within 0.15 K (rms over all that is believed; worst 0.7 K) of those of the default
grid and of steps of 0.02 K, at four tenths of what twice the nodes cost."""


@dataclass(frozen=True)
class Warming:
    """The warm-up during which readings were taken.

    Parameters
    ----------
    drive : Drive
        Told for the case as the user describes it; a curve of the gas temperature follows each
        set's own air and gas in proportion. How long it lasts does not matter.
    wrap : WrapHeat, optional
    start_spread : float, dimensionless
        One standard deviation of the logarithm of a named start's time constants. Without effect
        on a curve, which is taken as drawn.
    """

    drive: Drive
    wrap: WrapHeat | None = None
    start_spread: float = START_SPREAD

    @property
    def hottest(self) -> float:
        """Highest gas temperature of a curve, K; −∞ for a named start, which ends running."""
        curve = self.drive.gas_temperature
        return -np.inf if curve is None else float(curve.value.max())

    @property
    def uncertain(self) -> bool:
        """Whether the time constants are one more unknown."""
        return self.drive.lag is not None and self.start_spread > 0


class SkinInTime:
    """One case and the places and moments at which its skin was read.

    Parameters
    ----------
    case : Case
        One design.
    names : sequence of str
        Unknowns, keys of ``UNKNOWNS``.
    warming : Warming
    position, time : (readings,) array; m, s
    nodes : int
        Along the branch.
    """

    def __init__(
        self,
        case: Case,
        names: Sequence[str],
        warming: Warming,
        position: FloatArray,
        time: FloatArray,
        nodes: int,
    ) -> None:
        self._case, self._names, self._nodes = case, tuple(names), nodes
        self._position, self._time = position, time
        self._wrap = warming.wrap
        drive = warming.drive
        if drive.gas_temperature is not None and drive.drawn_for is None:
            air, gas = case.surroundings.air_temperature, case.main_pipe.gas_temperature
            drive = replace(drive, drawn_for=(float(air[0]), float(gas[0])))
        # A reading at the very start still needs some time to follow.
        self._drive = replace(drive, duration=max(float(time.max()), 1.0))

    def at(self, coordinates: FloatArray, start: FloatArray) -> FloatArray:
        """Skins for sets of unknowns.

        Parameters
        ----------
        coordinates : (sets, unknowns) array
        start : (sets,) array
            Logarithms of factors on the start's time constants.

        Returns
        -------
        (sets, readings) array, K
            NaN for the few far-fetched sets whose warm-up is not solved.

        Raises
        ------
        NotConvergedError
            If none is.
        """
        skin = np.full((len(coordinates), len(self._time)), np.nan)
        sound = np.arange(len(coordinates))
        while True:
            try:
                skin[sound] = self._solved(coordinates[sound], start[sound])
                return skin
            except NotConvergedError as error:
                kept = np.ones(len(sound), dtype=np.bool_)
                kept[list(error.designs)] = False
                if not np.any(kept) or np.all(kept):
                    raise
                sound = sound[kept]

    def _solved(self, coordinates: FloatArray, start: FloatArray) -> FloatArray:
        return skin_at(
            with_unknowns(self._case, self._names, coordinates),
            self._drive.paced(np.exp(start)),
            self._position,
            self._time,
            wrap=self._wrap,
            tolerance=READING_TOLERANCE,
            nodes=self._nodes,
        )
