"""The forward model as a fit needs it: skin temperatures and the first resonance, no more.

The same equations as ``steady.solve``, on a coarser grid, for many sets of unknowns and a few
lengths of one branch at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.base.interpolation import interpolated
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.newton import Tolerances
from warmbranch.heat.profile import TemperatureProfile
from warmbranch.sound import discretisation
from warmbranch.steady.fineness import Fineness
from warmbranch.steady.solve import solve, solve_to

FIT_NODES = 65
"""Nodes along the branch in a fit: the resonance within 2e-4 and the skin within 1 K near a hot
mouth, by comparison with the default grid; posterior.py takes off most of even that."""

FIT_CELLS = 8
"""Cells of the sound in a fit: the first resonance within 2e-6 of that of the default."""

FIT_TOLERANCES = Tolerances(step=0.1, left=1e-4, imbalance=1e-4)
"""After them the skin is within 1e-4 K, as Newton's steps shrink quadratically."""


@dataclass(frozen=True)
class Forecast(Batched):
    """What the model says for sets of unknowns, each at every length.

    Parameters
    ----------
    case : Case
        All designs: the lengths of the first set, then those of the second, ...
    profile : TemperatureProfile
    frequency : (designs,) array, Hz
        First resonance; NaN where losses leave none.
    """

    case: Case
    profile: TemperatureProfile
    frequency: FloatArray

    def skin_at(self, designs: NDArray[np.intp], position: FloatArray) -> FloatArray:
        """Skin temperature of some designs at (n,) positions, m: (designs, n), K."""
        profile = self.profile
        return interpolated(profile.position[designs], profile.skin[designs], position)


class Forecaster:
    """One case at one or more lengths, asked for many sets of unknowns.

    Parameters
    ----------
    case : Case
        One design.
    names : sequence of str
        Unknowns, keys of ``UNKNOWNS``.
    lengths : (lengths,) array, m
        Centre-line lengths; the first is that of the readings.
    nodes : int
    """

    def __init__(
        self, case: Case, names: Sequence[str], lengths: FloatArray, nodes: int = FIT_NODES
    ) -> None:
        self.names = tuple(names)
        self.lengths = lengths
        self._case = case
        self._nodes = nodes
        self._gas = MixtureTable.of(case.gas)
        self._most = case.take(slice(0))
        self._pulsates = bool(np.any(case.main_pipe.incident_pressure > 0))
        fine = self._pulsates or bool(case.branch.stepped.any())
        self._cells = discretisation.CELLS if fine else FIT_CELLS

    def at(self, coordinates: FloatArray) -> Forecast:
        """Solve the model.

        Parameters
        ----------
        coordinates : (sets, unknowns) array

        Returns
        -------
        Forecast
            Of sets × lengths designs. NaN for the few far-fetched sets that have no solution.

        Raises
        ------
        NotConvergedError
            If none has one.
        """
        try:
            return self._solved(coordinates)
        except NotConvergedError as error:
            lengths = len(self.lengths)
            lost = np.isin(np.arange(len(coordinates)), np.array(error.designs) // lengths)
            if np.all(lost):
                raise
        # Lost sets stand in line with the first sound one, and are marked after.
        sound = np.where(lost, int(np.argmin(lost)), np.arange(len(coordinates)))
        found = self.at(coordinates[sound])
        gone = np.repeat(lost, lengths)[:, None]
        blank = {n: np.where(gone, np.nan, getattr(found.profile, n)) for n in ("gas", "skin")}
        return Forecast(
            found.case,
            replace(found.profile, **blank),
            np.where(gone[:, 0], np.nan, found.frequency),
        )

    def _solved(self, coordinates: FloatArray) -> Forecast:
        case = self._cases(coordinates)
        if self._pulsates:
            answer = solve(case, nodes=self._nodes, modes=1)
            return Forecast(case, answer.profile, answer.resonance[:, 0])
        fineness = Fineness(self._nodes, 1, self._cells, FIT_TOLERANCES)
        answer = solve_to(fineness, case, gas=self._gas)
        return Forecast(case, answer.profile, answer.resonance[:, 0])

    def _cases(self, coordinates: FloatArray) -> Case:
        blank = self._blank(len(coordinates))
        return with_unknowns(blank, self.names, np.repeat(coordinates, len(self.lengths), axis=0))

    def _blank(self, sets: int) -> Case:
        """The case repeated for so many sets at each length.

        Made once for the most sets that were asked for, of which fewer are a part.
        """
        size = sets * len(self.lengths)
        if size > len(self._most):
            case = self._case.repeat(size)
            if len(self.lengths) > 1 or self.lengths[0] != self._case.branch.length[0]:
                lengths = np.tile(self.lengths, sets)
                case = replace(case, branch=case.branch.with_length(lengths))
            self._most = case
        return self._most.take(slice(size))
