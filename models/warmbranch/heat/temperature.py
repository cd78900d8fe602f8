"""Steady temperatures of gas, wall and skin along the branch."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from warmbranch import core
from warmbranch.base import stopping, tally
from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.core import calls, records
from warmbranch.heat.discretise import halved
from warmbranch.heat.first_guess import bounds, first_guess
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.newton import MOST_ITERATIONS, TOLERANCES, Tolerances, newton, newton_rules
from warmbranch.heat.profile import TemperatureProfile, Temperatures, closure_error

EASING = (*(3.0**-n for n in range(16)), 0.0)
"""m²/s. Mixing that is added, less and less, to lead a design to its balance that goes astray by
itself: with a square metre a second the gas is all but at one temperature, and at 1e-7 less is
added than gas conducts by itself."""

FINER_GRIDS = 3
"""How often the spacing is halved for a design whose balance has no solution as it stands."""


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
    low, high = bounds(balance.case, wall_at_mouth)
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
    if compiled is not None:
        return _solve_compiled(compiled, balance, (gas, wall, skin), tolerances)
    return newton(balance, (gas, wall, skin), (low, high), tolerances)


def _solve_compiled(
    compiled: core.Library,
    balance: HeatBalance,
    temperatures: tuple[FloatArray, FloatArray, FloatArray],
    close: Tolerances,
) -> tuple[TemperatureProfile, FloatArray]:
    ends = records.Tolerances(*close)
    gas, wall, skin = temperatures
    dried = np.zeros_like(gas)
    report = calls.solve_heat(compiled, balance, (gas, wall, skin, dried), ends, newton_rules())
    stopping.check()
    by_gas, by_wall, lost, iterations, last_step = np.ascontiguousarray(report.T)
    tally.add(len(report), iterations.sum())
    profile = TemperatureProfile(
        position=balance.x,
        gas=gas,
        wall=wall,
        skin=skin,
        dried=dried,
        heat_entering=by_gas + by_wall,
        heat_lost=lost,
        closure_error=closure_error(by_gas, by_wall, lost),
        iterations=iterations,
    )
    return profile, last_step
