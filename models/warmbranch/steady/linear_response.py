r"""Derivatives of a solution along a path of cases, by the solved Jacobian.

The heat balance :math:`R(T, p) = 0` holds along the path, so :math:`J\,dT = -\partial R/\partial p`
with the Jacobian ``J`` that Newton's method ended with: one factorisation serves every path. The
resonance follows from the reactance at the mouth, which stays zero. Nothing is solved anew: what is
differenced are explicit formulas at given temperatures, to fourth order in the step.

The grid moves with the cap and is otherwise left as it is, so these are the exact derivatives of
the discrete model on its grid.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from warmbranch.base import stopping
from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.bores import stretched
from warmbranch.case.case import Case
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.banded import mouth_amiss, outside_loss, skin_change, solved
from warmbranch.heat.discretise import heat_balance, pulsating
from warmbranch.heat.linearised import Linearised
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.profile import TemperatureProfile
from warmbranch.sound.acoustics import input_impedance
from warmbranch.sound.discretisation import CELLS
from warmbranch.sound.resonance import transit_time_estimate
from warmbranch.steady.answer import Answer
from warmbranch.steady.interplay import Mouth, State, balance_of, displacement, state_of


@dataclass(frozen=True)
class Solution:
    """What is needed of a solution.

    Parameters
    ----------
    case : Case
    gas : MixtureTable
        One mixture a design.
    profile : TemperatureProfile
    resonance : (designs,) array, Hz
        The first one; NaN where there is none.
    cells : int
        Of the sound.
    """

    case: Case
    gas: MixtureTable
    profile: TemperatureProfile
    resonance: FloatArray
    cells: int = CELLS

    @classmethod
    def of(cls, answer: Answer) -> Solution:
        """That of a whole answer."""
        case = answer.case
        return cls(case, MixtureTable.of(case.gas), answer.profile, answer.resonance[:, 0])


Path = Callable[[float], Case]
"""From an offset to the cases there, as many as were solved; their own at 0."""

FOURTH_ORDER = ((-2.0, 1 / 12), (-1.0, -8 / 12), (1.0, 8 / 12), (2.0, -1 / 12))
"""Places, in steps, and weights of a difference."""


TONE_STEP = 1e-3
"""Relative, for the reactance's slope: its fourth power is rounding."""

AGREED = 1e-8
"""Relative change of the derivatives at which they are done ..."""

NOISE = 1e-11
"""... or, over the step, of temperatures and tone themselves: what rounding leaves of those."""

MOST_PASSES = 200


@dataclass(frozen=True)
class Response:
    """Derivatives along paths.

    Parameters
    ----------
    gas, wall, skin : (paths, designs, nodes) array, K per unit of the path
        At nodes that move with the cap.
    resonance : (paths, designs) array, Hz per unit of the path
        Of the first one; NaN where there is none.
    """

    gas: FloatArray
    wall: FloatArray
    skin: FloatArray
    resonance: FloatArray


def respond(
    solution: Solution,
    paths: Sequence[Path],
    steps: Sequence[float] | None = None,
) -> Response:
    """Derivatives of a solution along paths of cases.

    Parameters
    ----------
    solution : Solution
    paths : sequence of Path
    steps : sequence of float, optional
        Step along each path; 1e-4 unless given. Cases are asked for up to two steps to either
        side.

    Returns
    -------
    Response

    Raises
    ------
    NotConvergedError
        If mixing by pulsation and sound do not agree.

    Valid for
    ---------
    Where the model is smooth: not where a correlation gives way to another, nor at an end of an
    input's range.

    Check
    -----
    Central differences of whole solutions on the same grid, to 1e-6, in
    tests/models/steady/test_sensitivity.py.
    """
    steps = [1e-4] * len(paths) if steps is None else steps
    cases = [
        path(step * place)
        for path, step in zip(paths, steps, strict=True)
        for place, _ in FOURTH_ORDER
    ]
    return _Neighbours(solution, Case.concatenate(cases), np.array(steps)).response()


class _Motion(NamedTuple):
    """Temperatures and tone per unit of each path, (paths, designs, ...)."""

    gas: FloatArray
    wall: FloatArray
    skin: FloatArray
    dried: FloatArray
    tone: FloatArray


class _Neighbours:
    """The cases about a solution, at which explicit formulas are differenced.

    All in one batch: path by path, place by place, design by design.
    """

    def __init__(self, solution: Solution, cases: Case, steps: FloatArray) -> None:
        self.base, self.case, self.paths = solution, cases, len(steps)
        self.step = steps[:, None]
        self.places, self.weights = np.array(FOURTH_ORDER).T
        self.again = np.tile(np.arange(len(solution.case)), len(steps) * len(FOURTH_ORDER))
        self.air = dry_air_table()
        self.gas = self._mixtures()
        self.speed = bulk_speed(self.case.main_pipe, self.gas, self.case.surroundings.pressure)
        surroundings = self.case.surroundings
        pipe_wall = wall_temperature(self.case.main_pipe, self.gas, surroundings, self.air)
        self.mouth = Mouth.of(self.case, self.gas, self.speed, pipe_wall)
        self.position = stretched(
            solution.case.branch.take(self.again),
            solution.profile.position[self.again],
            self.case.branch.length,
        )
        self.still = heat_balance(
            self.case,
            self.gas,
            self.air,
            self.speed,
            position=self.position,
            resistance=self.mouth.resistance,
        )
        self.pulsates = bool(np.any(solution.case.main_pipe.incident_pressure > 0))
        own = solution.case
        self.own_speed = bulk_speed(own.main_pipe, solution.gas, own.surroundings.pressure)
        self.own_mouth = Mouth.of(own, solution.gas, self.own_speed, solution.profile.wall[:, 0])
        self.own = state_of(own, solution.gas, self.own_mouth, solution.profile, solution.cells)
        self.silent = np.isnan(solution.resonance)
        estimate = transit_time_estimate(self.own.duct)
        self.tone = np.where(self.silent, estimate, solution.resonance)

    def response(self) -> Response:
        """The derivatives."""
        base = self._base()
        rest = np.zeros((self.paths, *self.base.profile.gas.shape))
        motion = _Motion(rest, rest, rest, rest, np.zeros(rest.shape[:2]))
        slope, off = self._tone_slope(), np.empty(0)
        for _ in range(MOST_PASSES):
            stopping.check()
            last, motion = motion, self._moved(base, motion, slope)
            off = self._apart(last, motion)
            if np.all(off <= AGREED):
                tone = np.where(self.silent, np.nan, motion.tone)
                return Response(motion.gas, motion.wall, motion.skin, tone)
        raise NotConvergedError(
            "The derivatives of a solution did not converge.",
            designs=tuple(range(len(self.tone))),
            residual=float(np.max(off)),
            iterations=MOST_PASSES,
        )

    def _moved(self, base: Linearised, before: _Motion, slope: FloatArray) -> _Motion:
        """What the neighbours' residuals, with temperatures moved as before, ask for."""
        balance = self.still
        if self.pulsates:
            state = self._heard(before)
            tone = self.tone[self.again] + self._offsets(before.tone)
            main = self.mouth.main_impedance
            swing = displacement(self.case, main, state.duct, self.position, tone)
            balance = pulsating(balance, swing, tone, state.profile.gas)
        profile = self._profile(before)
        system = balance.linearise(profile.gas, profile.wall, profile.skin)
        gas, wall = self._along(system.gas), self._along(system.wall)
        skins = self._skins(base, system)
        loss, _ = outside_loss(skins)
        wall_at_mouth = self._along(self.mouth.wall) - before.wall[:, :, 0]
        at_mouth = self._along(mouth_amiss(system))
        # What moves at the mouth's wall reaches its gas and the next node by the Jacobian, too.
        at_mouth += base.mouth_resistance * base.gas_wall[:, 0] * wall_at_mouth
        wall[:, :, 1] += base.wall_left[:, 1] * wall_at_mouth
        gas_change, wall_change, _ = solved(base, (gas, wall + loss), at_mouth)
        wall_change[:, :, 0] = wall_at_mouth
        skin = skin_change(skins, wall_change)
        motion = _Motion(
            before.gas + gas_change,
            before.wall + wall_change,
            before.skin + skin,
            before.dried if system.vapour is None else self._along(system.vapour.dried),
            before.tone,
        )
        return motion._replace(tone=self._tone(motion, slope))

    def _apart(self, last: _Motion, motion: _Motion) -> FloatArray:
        """How far two turns are apart, (paths, designs), in what :data:`AGREED` is for 1."""
        peak = np.max(np.abs(motion.gas), axis=2)
        off = np.max(np.abs(motion.gas - last.gas), axis=2)
        warm = np.max(self.base.profile.gas, axis=1)
        by_gas = off / (peak + NOISE / AGREED * warm / self.step)
        off = np.abs(motion.tone - last.tone)
        by_tone = off / (np.abs(motion.tone) + NOISE / AGREED * self.tone / self.step)
        return np.maximum(by_gas, by_tone)

    def _skins(self, base: Linearised, system: Linearised) -> Linearised:
        """The slopes at the solution with the residuals of the skin, (paths, designs, nodes).

        In the form that banded.py takes: loss outside, W, and difference through the wrap, K.
        """
        bare = np.isinf(system.wrap_conductance)
        conductance = np.where(bare, 0.0, system.wrap_conductance)
        through = self._along(conductance * system.wall_over_skin)
        own = np.where(np.isinf(base.wrap_conductance), 1.0, base.wrap_conductance)
        return base._replace(skin_loss=self._along(system.skin_loss), wall_over_skin=through / own)

    def _base(self) -> Linearised:
        """How the solution's residuals answer to its temperatures."""
        case, profile = self.base.case, self.base.profile
        main, duct = self.own_mouth.main_impedance, self.own.duct
        balance = balance_of(
            case, self.base.gas, self.air, self.own_speed, profile, main, duct, self.tone
        )
        return balance.linearise(profile.gas, profile.wall, profile.skin)

    def _heard(self, motion: _Motion) -> State:
        profile = self._profile(motion)
        return state_of(self.case, self.gas, self.mouth, profile, self.base.cells)

    def _profile(self, motion: _Motion) -> TemperatureProfile:
        """The answer's temperatures at the neighbours, moved."""
        old = self.base.profile
        parts = [value[self.again] for value in (old.gas, old.wall, old.skin, old.dried)]
        for value, change in zip(parts, motion[:4], strict=True):
            value += self._offsets(change)
        gas, wall, skin, dried = parts
        profile = old.take(self.again)
        return replace(profile, position=self.position, gas=gas, wall=wall, skin=skin, dried=dried)

    def _tone(self, motion: _Motion, slope: FloatArray) -> FloatArray:
        """Change of the first resonance, or of its estimate where there is none, Hz."""
        duct = self._heard(motion).duct
        reactance = input_impedance(duct, self.tone[self.again][:, None])[:, 0].imag
        estimate = self._along(transit_time_estimate(duct))
        return np.where(self.silent, estimate, -self._along(reactance) / slope)

    def _tone_slope(self) -> FloatArray:
        """Slope of the answer's reactance with the tone, (designs,), Pa s²/m³."""
        places, weights = np.array(FOURTH_ORDER).T
        tones = self.tone[:, None] * (1 + TONE_STEP * places)
        return (input_impedance(self.own.duct, tones).imag @ weights) / (TONE_STEP * self.tone)

    def _along(self, values: FloatArray) -> FloatArray:
        """Derivative of the neighbours' values, (paths, designs, ...)."""
        rows = values.reshape(self.paths, len(self.places), len(self.tone), *values.shape[1:])
        total = np.tensordot(self.weights, rows, (0, 1))
        return total / self.step.reshape(-1, *(1,) * (total.ndim - 1))

    def _offsets(self, change: FloatArray) -> FloatArray:
        """What a change per unit of path makes at each neighbour, (neighbours, ...)."""
        shape = (self.paths, len(self.places), *(1,) * (change.ndim - 1))
        offsets = (self.step * self.places).reshape(shape)
        return (offsets * change[:, None]).reshape(-1, *change.shape[2:])

    def _mixtures(self) -> MixtureTable:
        own, theirs = self.base.case.gas, self.case.gas
        if np.array_equal(theirs.mole_fractions, own.mole_fractions[self.again]):
            return self.base.gas.take(self.again)
        return MixtureTable.of(theirs)
