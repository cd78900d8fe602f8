"""Steady temperatures of gas, wall and skin along the branch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from warmbranch import core
from warmbranch.base import stopping, tally
from warmbranch.base.batch import Batched, BoolArray, FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.core import calls, records
from warmbranch.heat.banded import newton_step, outside_loss
from warmbranch.heat.discretise import halved
from warmbranch.heat.first_guess import bounds, first_guess
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.linearised import Linearised


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

EASING = (*(3.0**-n for n in range(16)), 0.0)
"""m²/s. Mixing that is added, less and less, to lead a design to its balance that goes astray by
itself: with a square metre a second the gas is all but at one temperature, and at 1e-7 less is
added than gas conducts by itself."""

FINER_GRIDS = 3
"""How often the spacing is halved for a design whose balance has no solution as it stands."""

UNDAMPED_ITERATIONS = 15
"""From here on steps are halved: where the counterflow turns, full ones may go in a ring ..."""

UNDAMPED_STEP = 1e-5
"""... but for steps below this, K, which end the search the sooner for being whole."""

SMALLEST_HEAT = 1e-4
"""W. Floor of the scale of the closure error, for a branch that exchanges no heat to speak of."""


@dataclass(frozen=True)
class Temperatures(Batched):
    """Temperatures along the branch: solved, sketched or guessed.

    Parameters
    ----------
    position : (designs, nodes) array, m
        From the mouth, along the centre-line.
    gas, wall, skin : (designs, nodes) array, K
    """

    position: FloatArray
    gas: FloatArray
    wall: FloatArray
    skin: FloatArray


@dataclass(frozen=True)
class TemperatureProfile(Temperatures):
    """Temperatures along the branch, and the heat that goes with them.

    Parameters
    ----------
    heat_entering : (designs,) array, W
        Through the mouth, by gas and by wall; negative when the branch heats the main pipe.
    heat_lost : (designs,) array, W
        To the surroundings, summed over the outer surface.
    closure_error : (designs,) array, dimensionless
        ``|entering − lost|`` over the heat that passes the mouth by gas and by wall, each taken
        as positive (at least ``SMALLEST_HEAT``).
    iterations : (designs,) array
        Newton steps spent.
    """

    heat_entering: FloatArray
    heat_lost: FloatArray
    closure_error: FloatArray
    iterations: FloatArray

    @property
    def temperatures(self) -> Temperatures:
        """Without the heat."""
        return Temperatures(self.position, self.gas, self.wall, self.skin)


def solve_steady(
    balance: HeatBalance,
    wall_at_mouth: FloatArray,
    guess: Temperatures | None = None,
    *,
    tolerances: Tolerances = TOLERANCES,
) -> TemperatureProfile:
    """Solve the steady heat balance by Newton's method with its exact Jacobian.

    Parameters
    ----------
    balance : HeatBalance
    wall_at_mouth : (designs,) array, K
        Wall temperature of the main pipe at the mouth.
    guess : Temperatures, optional
        On the same grid; a nearby solution to start from.
    tolerances : Tolerances
        Who needs hundreds of designs to a thousandth of a kelvin saves a step in four with larger
        ones.

    Returns
    -------
    TemperatureProfile

    Raises
    ------
    NotConvergedError
        If a design has not met its tolerances in ``MOST_ITERATIONS`` steps, on finer grids and by
        way of more mixing either.

    Notes
    -----
    Where hot metal drives the film of cold gas by the gas's own gradient, and that gradient turns
    within one cell, the discrete balance may have no solution although the continuous one does:
    some six in a hundred thousand designs of the admissible box. Those are solved with the spacing
    halved, and told at the nodes asked for.

    What fails there too is led to its balance from one that is easy: with mixing added that is
    taken away by and by (``EASING``). Where the counterflow sets in, iterates that are kept between
    the bounds may otherwise stay at them: one in ten thousand corners of the box.

    The balance obeys a maximum principle: no temperature lies beyond those of the mouth, the air
    and the radiant surroundings. Iterates are kept between them, which changes the path to the
    solution and never the solution, since convergence is judged by the unrestricted step.
    """
    profile, last_step = _newton(balance, wall_at_mouth, guess, tolerances)
    fine = balance
    for halving in range(1, FINER_GRIDS + 1):
        open_ = np.flatnonzero(last_step > 0)
        if len(open_) == 0:
            return profile
        fine = halved(fine)
        found, last_step[open_] = _newton(fine.take(open_), wall_at_mouth[open_], None, tolerances)
        profile = _put(profile, open_, found, every=2**halving)
    open_ = np.flatnonzero(last_step > 0)
    if len(open_):
        found, last_step[open_] = _eased(balance.take(open_), wall_at_mouth[open_], tolerances)
        profile = _put(profile, open_, found, every=1)
    if np.any(last_step > 0):
        raise NotConvergedError(
            "The heat balance did not converge.",
            designs=tuple(int(i) for i in np.flatnonzero(last_step > 0)),
            residual=float(last_step.max()),
            iterations=MOST_ITERATIONS * (1 + FINER_GRIDS + len(EASING)),
        )
    return profile


def _eased(
    balance: HeatBalance, wall_at_mouth: FloatArray, tolerances: Tolerances
) -> tuple[TemperatureProfile, FloatArray]:
    """As :func:`_newton`, by way of balances with more mixing."""
    easy, *harder = (
        replace(balance, forced_diffusivity=balance.forced_diffusivity + more) for more in EASING
    )
    profile, last_step = _newton(easy, wall_at_mouth, None, tolerances)
    for one in harder:
        profile, last_step = _newton(one, wall_at_mouth, profile, tolerances)
    return profile, last_step


def _put(
    profile: TemperatureProfile, designs: NDArray[np.intp], found: TemperatureProfile, every: int
) -> TemperatureProfile:
    """The profile with those designs replaced by what was found on a grid ``every`` times finer."""
    parts: dict[str, FloatArray] = {}
    for name in (field.name for field in fields(TemperatureProfile)):
        old, new = getattr(profile, name), getattr(found, name)
        parts[name] = old.copy()
        parts[name][designs] = new[:, ::every] if old.ndim == 2 else new
    parts["iterations"][designs] += profile.iterations[designs]
    return TemperatureProfile(**parts)


def _newton(
    balance: HeatBalance,
    wall_at_mouth: FloatArray,
    guess: Temperatures | None,
    tolerances: Tolerances,
) -> tuple[TemperatureProfile, FloatArray]:
    """Profile, and the last step of the designs that did not converge, K; 0 of those that did."""
    case = balance.case
    size = len(case)
    low, high = bounds(case, wall_at_mouth)
    gas, wall, skin = (
        first_guess(balance, wall_at_mouth)
        if guess is None
        else (guess.gas.copy(), guess.wall.copy(), guess.skin.copy())
    )
    wall[:, 0] = wall_at_mouth
    gas[:, 0] = np.where(balance.mouth_resistance > 0, gas[:, 0], balance.main_gas)
    bare = balance.is_bare or np.isinf(balance.wrap_conductance)  # such a tube has but one
    skin = np.where(bare, wall, skin)
    compiled = core.at_hand()
    if compiled is not None and not balance.stepped:
        return _solve_compiled(compiled, balance, (gas, wall, skin), tolerances)
    found: list[tuple[NDArray[np.intp], TemperatureProfile]] = []
    part, open_ = balance, np.arange(size)
    largest, rounding = np.full(size, np.inf), _rounding_step(low, high)
    before, unasked = np.zeros(size), np.isinf(tolerances.imbalance)
    for iteration in range(MOST_ITERATIONS + 1):
        stopping.check()
        system = part.linearise(gas, wall, skin)
        close = _close(largest, before, tolerances)
        done = largest < rounding
        if close.any():
            done |= close & (_imbalance(system) < tolerances.imbalance)
        if done.any():
            here = _audited(part.x, gas, wall, skin, system, iteration)
            tally.add(float(done.sum()), float(done.sum() * iteration))
            if done.all() and not found:
                return here, np.zeros(size)
            found.append((open_[done], here.take(done)))
            keep = ~done
            part, open_, system = part.take(keep), open_[keep], system.take(keep)
            gas, wall, skin, low, high = (v[keep] for v in (gas, wall, skin, low, high))
            rounding, largest = rounding[keep], largest[keep]
            if len(open_) == 0:
                return in_order(found), np.zeros(size)
        steps = np.array(newton_step(system))
        before = np.where(np.isinf(largest), 0.0, largest)
        largest = np.abs(steps).max(axis=(0, 2))
        if iteration >= UNDAMPED_ITERATIONS:
            steps *= np.where(largest > UNDAMPED_STEP, 0.5, 1.0)[:, None]
        steps += (gas, wall, skin)
        gas, wall, skin = np.minimum(np.maximum(steps, low), high)
        if unasked and _close(largest, before, tolerances).all() and not found:
            tally.add(float(size), float(size * (iteration + 1)))
            return _unaudited(part.x, gas, wall, skin, iteration + 1), np.zeros(size)
    last_step = np.zeros(size)
    last_step[open_] = largest
    system = part.linearise(gas, wall, skin)
    found.append((open_, _audited(part.x, gas, wall, skin, system, MOST_ITERATIONS)))
    return in_order(found), last_step


def in_order(parts: Sequence[tuple[NDArray[np.intp], TemperatureProfile]]) -> TemperatureProfile:
    """Join profiles of some designs each, given with their places."""
    order = np.argsort(np.concatenate([index for index, _ in parts]))
    return TemperatureProfile.concatenate([part for _, part in parts]).take(order)


def _solve_compiled(
    compiled: core.Library,
    balance: HeatBalance,
    temperatures: tuple[FloatArray, FloatArray, FloatArray],
    close: Tolerances,
) -> tuple[TemperatureProfile, FloatArray]:
    ends = records.Tolerances(*close)
    report = calls.solve_heat(compiled, balance, temperatures, ends, newton_rules())
    stopping.check()
    by_gas, by_wall, lost, iterations, last_step = np.ascontiguousarray(report.T)
    tally.add(len(report), iterations.sum())
    gas, wall, skin = temperatures
    profile = TemperatureProfile(
        position=balance.x,
        gas=gas,
        wall=wall,
        skin=skin,
        heat_entering=by_gas + by_wall,
        heat_lost=lost,
        closure_error=closure_error(by_gas, by_wall, lost),
        iterations=iterations,
    )
    return profile, last_step


def newton_rules() -> records.NewtonRules:
    """What keeps Newton's method on its way, for the compiled core."""
    return records.NewtonRules(
        ROUNDING_STEP,
        *ROUNDING_RANGE,
        SMALLEST_HEAT,
        UNDAMPED_STEP,
        UNDAMPED_ITERATIONS,
        MOST_ITERATIONS,
    )


def _rounding_step(low: FloatArray, high: FloatArray) -> FloatArray:
    smallest, largest = ROUNDING_RANGE
    return np.minimum(np.maximum(ROUNDING_STEP * (high - low)[:, 0], smallest), largest)


def closure_error(by_gas: FloatArray, by_wall: FloatArray, lost: FloatArray) -> FloatArray:
    """What a profile misses of a balance over what passes: see ``TemperatureProfile``."""
    scale = np.maximum(np.abs(by_gas) + np.abs(by_wall), SMALLEST_HEAT)
    return np.abs(by_gas + by_wall - lost) / scale


def _close(largest: FloatArray, before: FloatArray, tolerances: Tolerances) -> BoolArray:
    """Whether the last step, or the last two, leave little."""
    return (largest < tolerances.step) | (largest**3 < tolerances.left * before**2)


def _entering(system: Linearised) -> tuple[FloatArray, FloatArray]:
    """Heat through the mouth by gas and by wall, W.

    It is what the first volume, whose temperatures are given, passes on and loses.
    """
    loss, _ = outside_loss(system)
    return system.gas[:, 0], system.wall[:, 0] + loss[:, 0]


def _imbalance(system: Linearised) -> FloatArray:
    """Heat that the nodes fail to pass on, over the heat exchanged."""
    loss, _ = outside_loss(system)
    amiss = np.abs(system.gas[:, 1:]) + np.abs(system.wall[:, 1:] + loss[:, 1:])
    by_gas, by_wall = _entering(system)
    resists = system.mouth_resistance > 0
    through = system.mouth_fall / np.where(resists, system.mouth_resistance, 1.0)
    at_mouth = np.where(resists, np.abs(by_gas - through), 0.0)
    exchanged = np.abs(by_gas) + np.abs(by_wall) + np.abs(loss).sum(axis=1) + SMALLEST_HEAT
    return (amiss.sum(axis=1) + at_mouth) / exchanged


def _unaudited(
    x: FloatArray, gas: FloatArray, wall: FloatArray, skin: FloatArray, iterations: int
) -> TemperatureProfile:
    unknown = np.full(len(x), np.nan)
    return TemperatureProfile.of_parts(
        position=x,
        gas=gas,
        wall=wall,
        skin=skin,
        heat_entering=unknown,
        heat_lost=unknown,
        closure_error=unknown,
        iterations=np.full(len(x), float(iterations)),
    )


def _audited(
    x: FloatArray,
    gas: FloatArray,
    wall: FloatArray,
    skin: FloatArray,
    system: Linearised,
    iterations: int,
) -> TemperatureProfile:
    by_gas, by_wall = _entering(system)
    lost = outside_loss(system)[0].sum(axis=1)
    return TemperatureProfile.of_parts(
        position=x,
        gas=gas,
        wall=wall,
        skin=skin,
        heat_entering=by_gas + by_wall,
        heat_lost=lost,
        closure_error=closure_error(by_gas, by_wall, lost),
        iterations=np.full(len(x), float(iterations)),
    )
