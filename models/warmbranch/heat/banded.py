"""Newton steps of the heat balance: all designs stacked in one banded system."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import import_module
from typing import Any, cast

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.heat.linearised import Linearised

LOWER, UPPER = 3, 2
"""Sub- and superdiagonals, the unknowns being gas and wall temperature in turn."""

_ROWS = 2 * LOWER + UPPER + 1
_MAIN = LOWER + UPPER
"""Row of the main diagonal in LAPACK's band storage with room for pivoting."""


@cache
def _gbsv() -> Callable[..., tuple[Any, Any, FloatArray, int]]:
    """LAPACK's banded solver, with a signature, which scipy does not ship.

    Imported here: scipy.linalg costs a fifth of a second, and the compiled core does without it.
    """
    lapack = import_module("scipy.linalg.lapack")
    return cast("Callable[..., tuple[Any, Any, FloatArray, int]]", vars(lapack)["dgbsv"])


def newton_step(system: Linearised) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Solve the linearised balance for the change of gas, wall and skin temperature.

    Parameters
    ----------
    system : Linearised
        Each field (designs, nodes).

    Returns
    -------
    three (designs, nodes) arrays, K
        Zero at the mouth for the wall, whose temperature is given.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the system is singular, which a heat balance with any conduction never is.
    """
    loss, _ = outside_loss(system)
    gas, wall = solved(system, (system.gas[None], (system.wall + loss)[None]), mouth_amiss(system))
    return gas[0], wall[0], skin_change(system, wall[0])


def mouth_amiss(system: Linearised) -> FloatArray:
    """By how much the fall through the mouth's resistance is amiss, (designs,), K."""
    return system.mouth_resistance * system.gas[:, 0] - system.mouth_fall


def solved(
    system: Linearised, residuals: tuple[FloatArray, FloatArray], at_mouth: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Changes of gas and wall temperature that undo residuals, several sets of them at once.

    Parameters
    ----------
    system : Linearised
        For its slopes; each field (designs, nodes).
    residuals : two (sets, designs, nodes) arrays, W
        Of gas and of wall, what the wall loses outside included.
    at_mouth : (sets, designs) or (designs,) array, K
        As of :func:`mouth_amiss`.

    Returns
    -------
    two (sets, designs, nodes) arrays, K
        Zero at the mouth for the wall.
    """
    _, loss_slope = outside_loss(system)
    sets, designs, nodes = residuals[0].shape
    inner = nodes - 1
    # The mouth's gas is eliminated: its change is ``begin − follow × (change of the next node)``.
    own = 1 + system.mouth_resistance * system.gas_here[:, 0]
    follow = system.mouth_resistance * system.gas_right[:, 0] / own
    begin = -at_mouth / own
    # Column-major band storage is (unknown, band row) in C order, so filling needs no copy.
    band = np.zeros((designs, inner, 2, _ROWS))
    gas, wall = band[:, :, 0, :], band[:, :, 1, :]
    gas[:, :, _MAIN] = system.gas_here[:, 1:]
    gas[:, :, _MAIN + 1] = system.wall_gas_here[:, 1:]
    gas[:, :-1, _MAIN + 2] = system.gas_left[:, 2:]
    gas[:, :-1, _MAIN + 3] = system.wall_gas_left[:, 2:]
    gas[:, 1:, _MAIN - 2] = system.gas_right[:, 1:-1]
    gas[:, 1:, _MAIN - 1] = system.wall_gas_right[:, 1:-1]
    wall[:, :, _MAIN - 1] = system.gas_wall[:, 1:]
    wall[:, :, _MAIN] = (system.wall_here + loss_slope)[:, 1:]
    wall[:, :-1, _MAIN + 2] = system.wall_left[:, 2:]
    wall[:, 1:, _MAIN - 2] = system.wall_right[:, 1:-1]
    gas[:, 0, _MAIN] -= system.gas_left[:, 1] * follow
    gas[:, 0, _MAIN + 1] -= system.wall_gas_left[:, 1] * follow
    right = np.empty((sets, designs, inner, 2))
    for i, residual in enumerate(residuals):
        np.negative(residual[:, :, 1:], out=right[..., i])
    right[:, :, 0, 0] -= system.gas_left[:, 1] * begin
    right[:, :, 0, 1] -= system.wall_gas_left[:, 1] * begin
    _, _, solution, info = _gbsv()(
        LOWER,
        UPPER,
        band.reshape(-1, _ROWS).T,
        right.reshape(sets, -1).T,
        overwrite_ab=True,
        overwrite_b=True,
    )
    if info != 0:
        raise np.linalg.LinAlgError(f"singular heat balance (LAPACK gbsv: {info})")
    change = np.zeros((2, sets, designs, nodes))
    change[..., 1:] = solution.T.reshape(sets, designs, inner, 2).transpose(3, 0, 1, 2)
    change[0, ..., 0] = begin - follow * change[0, ..., 1]
    return change[0], change[1]


def outside_loss(system: Linearised) -> tuple[FloatArray, FloatArray]:
    """What the wall loses outside, W, and its slope with the wall temperature, W/K.

    The skin's own balance is eliminated node by node, so that a wrapped and a bare tube give the
    same banded system.
    """
    if system.bare:
        return system.skin_loss, system.skin_slope
    conductance = system.wrap_conductance
    bare = np.isinf(conductance)
    finite = np.where(bare, 1.0, conductance)
    share = np.where(bare, 1.0, finite / (finite + system.skin_slope))
    through = np.where(bare, system.skin_loss, finite * system.wall_over_skin)
    return through + share * (system.skin_loss - through), share * system.skin_slope


def skin_change(system: Linearised, wall_change: FloatArray) -> FloatArray:
    """Change of the skin's temperature that goes with a change of the wall's, K."""
    if system.bare:
        return wall_change
    conductance = system.wrap_conductance
    bare = np.isinf(conductance)
    finite = np.where(bare, 1.0, conductance)
    unbalanced = system.skin_loss - finite * system.wall_over_skin
    wrapped = (finite * wall_change - unbalanced) / (finite + system.skin_slope)
    return np.where(bare, wall_change, wrapped)
