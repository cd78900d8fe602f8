"""Newton's method on the steady heat balance, on numpy; the same in C: core/elimination.c."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from warmbranch.base import stopping, tally
from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.core import records
from warmbranch.heat.banded import newton_step, outside_loss
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.linearised import Linearised
from warmbranch.heat.profile import SMALLEST_HEAT, TemperatureProfile, closure_error, in_order


class Tolerances(NamedTuple):
    """When the search for a design's temperatures ends.

    Parameters
    ----------
    step : float, K
        The last step was no larger; Newton's next would be some millionths of it ...
    left : float, K
        ... or the last two foretell, by quadratic convergence, that the next would be smaller
        than this.
    imbalance : float, dimensionless
        And the sum of all nodes' heat out of balance is less than this share of the heat that the
        branch exchanges. Infinite for who does not ask: the search then ends with its last step,
        the heat unknown (NaN).
    """

    step: float
    left: float
    imbalance: float


TOLERANCES = Tolerances(step=1e-4, left=1e-8, imbalance=1e-10)

ROUNDING_STEP = 1e-9
"""A step of this share of the span of temperatures is rounding, whatever the imbalance: strong
mixing on a fine grid carries large fluxes whose difference cannot be told better ..."""

ROUNDING_RANGE = (1e-12, 1e-8)
"""... but for spans that make it smaller or larger than these, K."""

MOST_ITERATIONS = 160

UNDAMPED_ITERATIONS = 15
"""From here on steps that do not shrink are shortened: where the counterflow turns, or a wall is at
its dew point all along, whole ones may go in a ring ..."""

UNDAMPED_STEP = 1e-5
"""... but for steps below this, K, which are whole and the last: where much latent heat hangs on a
wall that saturated gas warms, less is rounding."""


SHRINKS, SHORTER, LONGER, SHORTEST = 0.8, 0.5, 1.5, 1 / 128
"""A step over the one before that counts as shrinking, factors by which the share that is taken of
steps changes, and the least."""


def newton(
    balance: HeatBalance,
    start: tuple[FloatArray, FloatArray, FloatArray],
    bounds: tuple[FloatArray, FloatArray],
    tolerances: Tolerances,
) -> tuple[TemperatureProfile, FloatArray]:
    """Profile, and the last step of the designs that did not converge, K; 0 of those that did.

    Parameters
    ----------
    balance : HeatBalance
    start : three (designs, nodes) arrays, K
        Of gas, wall and skin; those at the mouth are kept where they are given.
    bounds : two (designs, 1) arrays, K
        Lowest and highest temperature that a solution can take.
    tolerances : Tolerances
    """
    size = len(balance.case)
    gas, wall, skin = start
    low, high = bounds
    found: list[tuple[NDArray[np.intp], TemperatureProfile]] = []
    nothing = np.zeros(size)
    at = _Search(
        balance, np.arange(size), gas, wall, skin, low, high,
        _rounding_step(low, high), np.full(size, np.inf), nothing, np.ones(size),
    )  # fmt: skip
    for iteration in range(MOST_ITERATIONS + 1):
        stopping.check()
        system = at.balance.linearise(at.gas, at.wall, at.skin)
        close = at.close(tolerances)
        done = at.largest < at.rounding
        if iteration > UNDAMPED_ITERATIONS:
            done |= at.largest < UNDAMPED_STEP
        if close.any():
            done |= close & (_imbalance(system) < tolerances.imbalance)
        if done.any():
            found.append((at.open[done], at.audited(system, iteration).take(done)))
            at, system = at.take(~done), system.take(~done)
        if len(at.open):
            at, dried = at.moved(system, damped=iteration >= UNDAMPED_ITERATIONS)
            if np.isinf(tolerances.imbalance) and (done := at.close(tolerances)).any():
                found.append((at.open[done], at.unaudited(dried, iteration + 1).take(done)))
                at = at.take(~done)
        if len(at.open) == 0:
            profile = in_order(found)
            tally.add(float(size), float(profile.iterations.sum()))
            return profile, nothing
    last_step = nothing.copy()
    last_step[at.open] = at.largest
    system = at.balance.linearise(at.gas, at.wall, at.skin)
    found.append((at.open, at.audited(system, MOST_ITERATIONS)))
    return in_order(found), last_step


class _Search(NamedTuple):
    """Designs on their way: which they are, temperatures, bounds, and Newton's last two steps, K.

    The bounds are (designs, 1); ``rounding``, ``largest``,
    ``before`` and ``share`` (of the steps that is taken) are (designs,).
    """

    balance: HeatBalance
    open: NDArray[np.intp]
    gas: FloatArray
    wall: FloatArray
    skin: FloatArray
    low: FloatArray
    high: FloatArray
    rounding: FloatArray
    largest: FloatArray
    before: FloatArray
    share: FloatArray

    def take(self, keep: BoolArray) -> _Search:
        """Some of them."""
        rest = (part[keep] for part in self[2:])
        return _Search(self.balance.take(keep), self.open[keep], *rest)

    def close(self, tolerances: Tolerances) -> BoolArray:
        """Whether the last step, or the last two, leave little."""
        foretold = self.largest**3 < tolerances.left * self.before**2
        return (self.largest < tolerances.step) | foretold

    def moved(self, system: Linearised, *, damped: bool) -> tuple[_Search, FloatArray]:
        """A step of Newton's method on, and how dry the gas is there, to first order."""
        step = newton_step(system)
        steps = np.array(step[:3])
        largest = np.abs(steps).max(axis=(0, 2))
        before = np.where(np.isinf(self.largest), 0.0, self.largest)
        share = self.share
        if damped:
            to_and_fro = largest > SHRINKS * before
            shorter, longer = np.maximum(share * SHORTER, SHORTEST), np.minimum(share * LONGER, 1.0)
            share = np.where(to_and_fro, shorter, longer)
            steps *= np.where(largest > UNDAMPED_STEP, share, 1.0)[:, None]
        steps += (self.gas, self.wall, self.skin)
        gas, wall, skin = np.minimum(np.maximum(steps, self.low), self.high)
        dried = _dried(system)
        there = self._replace(
            gas=gas, wall=wall, skin=skin, largest=largest, before=before, share=share
        )
        return there, dried - (1 + dried) * step.content

    def audited(self, system: Linearised, iterations: int) -> TemperatureProfile:
        """The profiles, of the system at their temperatures."""
        by_gas, by_wall = _entering(system)
        lost = outside_loss(system)[0].sum(axis=1)
        heat = (by_gas + by_wall, lost, closure_error(by_gas, by_wall, lost))
        return self._profile(_dried(system), heat, iterations)

    def unaudited(self, dried: FloatArray, iterations: int) -> TemperatureProfile:
        """The profiles, their heat unknown."""
        unknown = np.full(len(self.open), np.nan)
        return self._profile(dried, (unknown, unknown, unknown), iterations)

    def _profile(
        self, dried: FloatArray, heat: tuple[FloatArray, FloatArray, FloatArray], iterations: int
    ) -> TemperatureProfile:
        entering, lost, error = heat
        return TemperatureProfile.of_parts(
            position=self.balance.x,
            gas=self.gas,
            wall=self.wall,
            skin=self.skin,
            dried=dried,
            heat_entering=entering,
            heat_lost=lost,
            closure_error=error,
            iterations=np.full(len(self.open), float(iterations)),
        )


def newton_rules() -> records.NewtonRules:
    """What keeps Newton's method on its way, for the compiled core."""
    return records.NewtonRules(
        ROUNDING_STEP,
        *ROUNDING_RANGE,
        SMALLEST_HEAT,
        UNDAMPED_STEP,
        SHRINKS,
        SHORTER,
        LONGER,
        SHORTEST,
        UNDAMPED_ITERATIONS,
        MOST_ITERATIONS,
    )


def _rounding_step(low: FloatArray, high: FloatArray) -> FloatArray:
    smallest, largest = ROUNDING_RANGE
    return np.minimum(np.maximum(ROUNDING_STEP * (high - low)[:, 0], smallest), largest)


def _entering(system: Linearised) -> tuple[FloatArray, FloatArray]:
    """Heat through the mouth by gas and by wall, W.

    It is what the first volume, whose temperatures are given, passes on and loses.
    """
    loss, _ = outside_loss(system)
    latent = 0.0 if system.vapour is None else system.vapour.latent.sum(axis=1)
    return system.gas[:, 0] + latent, system.wall[:, 0] + loss[:, 0]


def _imbalance(system: Linearised) -> FloatArray:
    """Heat that the nodes fail to pass on, over the heat exchanged."""
    loss, _ = outside_loss(system)
    amiss = np.abs(system.gas[:, 1:]) + np.abs(system.wall[:, 1:] + loss[:, 1:])
    by_gas, by_wall = _entering(system)
    resists = system.mouth_resistance > 0
    through = system.mouth_fall / np.where(resists, system.mouth_resistance, 1.0)
    at_mouth = np.where(resists, np.abs(system.gas[:, 0] - through), 0.0)
    exchanged = np.abs(by_gas) + np.abs(by_wall) + np.abs(loss).sum(axis=1) + SMALLEST_HEAT
    return (amiss.sum(axis=1) + at_mouth) / exchanged


def _dried(system: Linearised) -> FloatArray:
    wet = system.vapour
    return np.zeros_like(system.gas) if wet is None else wet.dried
