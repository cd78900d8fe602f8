"""The forward model as a fit needs it: skin temperatures and the first resonance, no more.

The same equations as ``branch.solve``, on a coarser grid, for many sets of unknowns and a few
lengths of one branch at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from warmbranch import cutting
from warmbranch.banded import newton_step
from warmbranch.batch import Batched, FloatArray
from warmbranch.branch import solve
from warmbranch.case import Case
from warmbranch.errors import NotConvergedError
from warmbranch.gas import MixtureTable, dry_air_table
from warmbranch.geometry import inertance_ratio_between
from warmbranch.heat_balance import HeatBalance
from warmbranch.main_pipe import bulk_speed, wall_temperature
from warmbranch.mixing import stirred_mouth
from warmbranch.mouth import mouth_length
from warmbranch.resonance import resonances
from warmbranch.temperature import TemperatureProfile, heat_balance, solve_steady
from warmbranch.unknowns import put

FIT_NODES = 33
"""Nodes along the branch in a fit: the resonance within 2e-4 and the skin within 1 K near a hot
mouth, by comparison with the default grid; posterior.py takes off most of even that."""

FIT_CELLS = 8
"""Cells of the sound in a fit: the first resonance within 2e-6 of that of the default."""

FIT_TOLERANCES = (0.1, 1e-4)
"""Last Newton step, K, and imbalance: after them the skin is within 1e-4 K, as steps shrink
quadratically."""


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
        self._gas, self._air = MixtureTable.of(case.gas), dry_air_table()
        self._blanks: dict[int, tuple[Case, MixtureTable]] = {}
        self._pulsates = bool(np.any(case.main_pipe.incident_pressure > 0))

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
            answer = solve(case, nodes=self._nodes)
            return Forecast(case, answer.profile, answer.resonance[:, 0])
        _, gas = self._blank(len(coordinates))
        speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
        wall = wall_temperature(case.main_pipe, gas, case.surroundings, self._air)
        balance = heat_balance(case, gas, self._air, speed, nodes=self._nodes)
        profile = solve_steady(balance, wall, tolerances=FIT_TOLERANCES)
        return Forecast(case, profile, _first_resonance(case, gas, profile))

    def near(self, base: Forecast, coordinates: FloatArray) -> Forecast:
        """First-order forecast for unknowns close to those of a solution.

        One step of Newton's method from the solution, on its grid and with the exact Jacobian:
        by the implicit function theorem, differences of such forecasts over small steps are the
        model's own sensitivities, at a fraction of the cost of solving anew.

        Parameters
        ----------
        base : Forecast
            Of one set.
        coordinates : (sets, unknowns) array

        Returns
        -------
        Forecast
        """
        if self._pulsates:
            return self.at(coordinates)
        case = self._cases(coordinates)
        again = np.tile(np.arange(len(self.lengths)), len(coordinates))
        old = base.profile.take(again)
        _, gas = self._blank(len(coordinates))
        speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
        closures = case.closures
        stirred = stirred_mouth(
            old.position, case.branch.bore, speed, closures.stirring, closures.reach
        )
        fixed = closures.fixed_diffusivity[:, None]
        forced = np.where(np.isnan(fixed), stirred, fixed)
        balance = HeatBalance(case, gas, self._air, old.position, forced)
        temperatures = old.gas.copy(), old.wall.copy(), old.skin.copy()
        temperatures[0][:, 0] = case.main_pipe.gas_temperature
        temperatures[1][:, 0] = wall_temperature(case.main_pipe, gas, case.surroundings, self._air)
        bare = case.covering.wrap_thickness == 0
        temperatures[2][bare, 0] = temperatures[1][bare, 0]
        steps = newton_step(balance.linearise(*temperatures))
        new = (value + step for value, step in zip(temperatures, steps, strict=True))
        profile = replace(old, **dict(zip(("gas", "wall", "skin"), new, strict=True)))
        return Forecast(case, profile, _first_resonance(case, gas, profile))

    def _cases(self, coordinates: FloatArray) -> Case:
        blank, _ = self._blank(len(coordinates))
        return put(blank, self.names, np.repeat(coordinates, len(self.lengths), axis=0))

    def _blank(self, sets: int) -> tuple[Case, MixtureTable]:
        """The case and its gas, repeated for so many sets at each length, and kept."""
        if sets not in self._blanks:
            size = sets * len(self.lengths)
            case = self._case.repeat(size)
            if len(self.lengths) > 1 or self.lengths[0] != self._case.branch.length[0]:
                lengths = np.tile(self.lengths, sets)
                case = replace(case, branch=case.branch.with_length(lengths))
            self._blanks[sets] = case, self._gas.take(np.zeros(size, dtype=np.intp))
        return self._blanks[sets]


def _first_resonance(case: Case, gas: MixtureTable, profile: TemperatureProfile) -> FloatArray:
    closures, pressure = case.closures, case.surroundings.pressure
    correction = mouth_length(
        closures.mouth_model,
        case.branch.bore,
        case.main_pipe.bore,
        closures.mouth_factor,
        closures.fixed_mouth_length,
    )
    density = gas.density(case.main_pipe.gas_temperature[:, None], pressure)[:, 0]
    duct = cutting.duct(
        profile.position,
        profile.gas,
        gas,
        pressure,
        radius=case.branch.bore / 2,
        inertance_ratio=inertance_ratio_between(case.branch, profile.position),
        mouth_inertance=density * correction / case.branch.bore_area,
        wall_losses=closures.wall_losses,
        cells=FIT_CELLS,
    )
    return resonances(duct, modes=1)[0][:, 0]


def interpolated(x: FloatArray, values: FloatArray, at: FloatArray) -> FloatArray:
    """Third-order interpolation along each row.

    Parameters
    ----------
    x, values : (rows, nodes) array
        ``x`` rising along each row.
    at : (n,) array
        Within ``x``.

    Returns
    -------
    (rows, n) array
        Lagrange's polynomial through the four nodes about each place.
    """
    above = np.sum(x[:, None, :] <= at[:, None], axis=2)
    first = np.clip(above - 2, 0, x.shape[1] - 4)
    nodes = first[:, :, None] + np.arange(4)
    rows = np.arange(len(x))[:, None, None]
    place, height = x[rows, nodes], values[rows, nodes]
    total = np.zeros(first.shape)
    for i in range(4):
        weight = np.ones(first.shape)
        for j in range(4):
            if j != i:
                weight *= (at - place[:, :, j]) / (place[:, :, i] - place[:, :, j])
        total += weight * height[:, :, i]
    return total
