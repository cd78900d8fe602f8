"""Newton steps of the heat balance: all designs stacked in one banded system."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import import_module
from typing import Any, NamedTuple, cast

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.heat.linearised import Linearised

GAS, WALL, VAPOUR = range(3)
"""A node's unknowns, the last where something condenses."""


@cache
def _gbsv() -> Callable[..., tuple[Any, Any, FloatArray, int]]:
    """LAPACK's banded solver, with a signature, which scipy does not ship.

    Imported here: scipy.linalg costs a fifth of a second, and the compiled core does without it.
    """
    lapack = import_module("scipy.linalg.lapack")
    return cast("Callable[..., tuple[Any, Any, FloatArray, int]]", vars(lapack)["dgbsv"])


class Step(NamedTuple):
    """Changes that Newton's method asks for, each (designs, nodes).

    Parameters
    ----------
    gas, wall, skin : K
        That of the wall is zero at the mouth, where its temperature is given.
    content : φ
        Of vapour.
    """

    gas: FloatArray
    wall: FloatArray
    skin: FloatArray
    content: FloatArray


def newton_step(system: Linearised) -> Step:
    """Solve the linearised balance for the change of gas, wall and skin temperature.

    Parameters
    ----------
    system : Linearised
        Each field (designs, nodes).

    Returns
    -------
    Step

    Raises
    ------
    numpy.linalg.LinAlgError
        If the system is singular, which a heat balance with any conduction never is.
    """
    loss, _ = outside_loss(system)
    gas, wall, content = solved(
        system, (system.gas[None], (system.wall + loss)[None]), mouth_amiss(system)
    )
    return Step(gas[0], wall[0], skin_change(system, wall[0]), content[0])


def latent_change(system: Linearised, step: Step) -> FloatArray:
    """By how much a step changes the latent heat of all that condenses, (designs,), W."""
    wet = system.vapour
    if wet is None:
        return np.zeros(len(step.gas))
    change = wet.by_content * step.content + wet.by_wall * step.wall + wet.by_gas_here * step.gas
    change[:, 1:] += wet.by_gas_left[:, 1:] * step.gas[:, :-1]
    change[:, :-1] += wet.by_gas_right[:, :-1] * step.gas[:, 1:]
    return change.sum(axis=1)


def mouth_amiss(system: Linearised) -> FloatArray:
    """By how much the fall through the mouth's resistance is amiss, (designs,), K."""
    return system.mouth_resistance * system.gas[:, 0] - system.mouth_fall


def solved(
    system: Linearised, residuals: tuple[FloatArray, FloatArray], at_mouth: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Changes of gas, wall and vapour that undo residuals, several sets of them at once.

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
    three (sets, designs, nodes) arrays; K, K, φ
        Zero at the mouth for the wall; the last zero where nothing condenses.
    """
    _, loss_slope = outside_loss(system)
    sets, designs, nodes = residuals[0].shape
    inner = nodes - 1
    # The mouth's gas is eliminated: its change is ``begin − follow × (change of the next node)``.
    own = 1 + system.mouth_resistance * system.gas_here[:, 0]
    follow = system.mouth_resistance * system.gas_right[:, 0] / own
    begin = -at_mouth / own
    wet = system.vapour
    band = _Band(designs, inner, 2 if wet is None else 3)
    band.put(GAS, GAS, system.gas_left, system.gas_here, system.gas_right)
    band.put(GAS, WALL, None, system.gas_wall, None)
    band.put(WALL, GAS, system.wall_gas_left, system.wall_gas_here, system.wall_gas_right)
    band.put(WALL, WALL, system.wall_left, system.wall_here + loss_slope, system.wall_right)
    band.at(GAS, GAS, 0)[:, 0] -= system.gas_left[:, 1] * follow
    band.at(WALL, GAS, 0)[:, 0] -= system.wall_gas_left[:, 1] * follow
    by_gas = by_next = by_vapour = np.zeros(designs)
    if wet is not None:
        band.put(WALL, VAPOUR, None, -wet.by_content, None)
        band.put(VAPOUR, GAS, wet.gas_left, wet.gas_here, wet.gas_right)
        band.put(VAPOUR, WALL, None, wet.wall, None)
        band.put(VAPOUR, VAPOUR, wet.left, wet.here, wet.right)
        # The mouth's vapour, too, follows from its gas and from the next node.
        by_gas = wet.gas_here[:, 0] / wet.here[:, 0]
        by_next = wet.gas_right[:, 0] / wet.here[:, 0] - by_gas * follow
        by_vapour = wet.right[:, 0] / wet.here[:, 0]
        band.at(VAPOUR, VAPOUR, 0)[:, 0] -= wet.left[:, 1] * by_vapour
        band.at(VAPOUR, GAS, 0)[:, 0] -= wet.left[:, 1] * by_next + wet.gas_left[:, 1] * follow
    right = np.zeros((sets, designs, inner, band.unknowns))
    for i, residual in enumerate(residuals):
        np.negative(residual[:, :, 1:], out=right[..., i])
    right[:, :, 0, GAS] -= system.gas_left[:, 1] * begin
    right[:, :, 0, WALL] -= system.wall_gas_left[:, 1] * begin
    if wet is not None:
        right[:, :, 0, VAPOUR] -= (wet.gas_left[:, 1] - wet.left[:, 1] * by_gas) * begin
    solution = band.solved(right.reshape(sets, -1)).reshape(right.shape)
    change = np.zeros((3, sets, designs, nodes))
    change[: band.unknowns, ..., 1:] = solution.transpose(3, 0, 1, 2)
    change[GAS, ..., 0] = begin - follow * change[GAS, ..., 1]
    if wet is not None:
        change[VAPOUR, ..., 0] = -(
            by_gas * begin + by_next * change[GAS, ..., 1] + by_vapour * change[VAPOUR, ..., 1]
        )
    return change[GAS], change[WALL], change[VAPOUR]


class _Band:
    """A banded matrix for LAPACK: unknowns node by node, design after design.

    Column-major band storage is (unknown, band row) in C order, so that filling needs no copy.
    """

    def __init__(self, designs: int, nodes: int, unknowns: int) -> None:
        self.unknowns = unknowns
        # The wall asks its left neighbour's gas, and each unknown its own right neighbour.
        self.lower, self.upper = (3, 2) if unknowns == 2 else (5, 3)
        self.main = self.lower + self.upper
        self.rows = self.main + self.lower + 1
        self.band = np.zeros((designs, nodes, unknowns, self.rows))

    def at(self, row: int, column: int, step: int) -> FloatArray:
        """Of the equation ``row``, the slopes to ``column`` of the node ``step`` further on.

        (designs, nodes) by the place of the column.
        """
        return self.band[:, :, column, self.main + row - column - self.unknowns * step]

    def put(
        self,
        row: int,
        column: int,
        left: FloatArray | None,
        here: FloatArray,
        right: FloatArray | None,
    ) -> None:
        """Slopes of an equation to the left, own and right node; the mouth's node left out."""
        self.at(row, column, 0)[:] = here[:, 1:]
        if left is not None:
            self.at(row, column, -1)[:, :-1] = left[:, 2:]
        if right is not None:
            self.at(row, column, 1)[:, 1:] = right[:, 1:-1]

    def solved(self, given: FloatArray) -> FloatArray:
        """Solutions, (sets, unknowns), of right sides (sets, unknowns); both are overwritten."""
        _, _, solution, info = _gbsv()(
            self.lower,
            self.upper,
            self.band.reshape(-1, self.rows).T,
            given.T,
            overwrite_ab=True,
            overwrite_b=True,
        )
        if info != 0:
            raise np.linalg.LinAlgError(f"singular heat balance (LAPACK gbsv: {info})")
        return np.ascontiguousarray(solution.T)


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
