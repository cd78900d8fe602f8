"""A heat balance linearised at given temperatures: residuals and slopes on the nodes.

With what brings numbers from nodes to the faces between them, and what passes the faces back.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.gas.gas import GasState
from warmbranch.heat.counterflow import Diffusivity


class Condensing(NamedTuple):
    """Vapour in balance with temperatures, and how it answers to them; each (designs, nodes).

    Parameters
    ----------
    dried : mol/mol
        Water that a mole of the gas has lost.
    rate : mol/s
        That condenses.
    entering : (designs,) array, mol/s
        Through the mouth: as much as condenses.
    latent : W
        That it gives to the wall.
    by_content, by_wall, by_gas_left, by_gas_here, by_gas_right : W per unit of φ, or W/K
        Slopes of ``latent``.
    left, here, right, wall, gas_left, gas_here, gas_right : W per unit of φ, or W/K
        Slopes of the vapour's own residual, which is nil, times its latent heat.
    """

    dried: FloatArray
    rate: FloatArray
    entering: FloatArray
    latent: FloatArray
    by_content: FloatArray
    by_wall: FloatArray
    by_gas_left: FloatArray
    by_gas_here: FloatArray
    by_gas_right: FloatArray
    left: FloatArray
    here: FloatArray
    right: FloatArray
    wall: FloatArray
    gas_left: FloatArray
    gas_here: FloatArray
    gas_right: FloatArray


class Linearised(NamedTuple):
    """Residuals (W, what a node fails to pass on) and their slopes (W/K).

    All are (designs, nodes). ``gas_left`` is the slope of the gas residual with respect to the
    gas temperature of the node on the left, and so on. The skin's own balance is
    ``skin_loss(T_s) − wrap_conductance (T_w − T_s) = 0``; a bare tube has no skin of its own:
    its ``wrap_conductance`` is infinite. ``wall_over_skin`` is ``T_w − T_s``, K.
    At the mouth ``mouth_resistance × gas[:, 0] = mouth_fall``: (designs,) arrays, K/W and, the main
    pipe's gas less that just inside, K. ``bare`` tells of the batch that none has a wrap.
    ``vapour`` is what condenses, in balance already; None where no wall is cold enough.
    """

    gas: FloatArray
    gas_left: FloatArray
    gas_here: FloatArray
    gas_right: FloatArray
    gas_wall: FloatArray
    wall: FloatArray
    wall_left: FloatArray
    wall_here: FloatArray
    wall_right: FloatArray
    wall_gas_left: FloatArray
    wall_gas_here: FloatArray
    wall_gas_right: FloatArray
    skin_loss: FloatArray
    skin_slope: FloatArray
    wrap_conductance: FloatArray
    wall_over_skin: FloatArray
    mouth_resistance: FloatArray
    mouth_fall: FloatArray
    bare: bool
    vapour: Condensing | None = None

    def take(self, index: BoolArray) -> Linearised:
        """The system of some of the designs."""
        vapour = self.vapour and Condensing(*(part[index] for part in self.vapour))
        return Linearised(*(part[index] for part in self[:-2]), bare=self.bare, vapour=vapour)

    def warmed_by(self, vapour: Condensing) -> Linearised:
        """The system with what condenses, which warms the wall."""
        return self._replace(
            wall=self.wall - vapour.latent,
            wall_here=self.wall_here - vapour.by_wall,
            wall_gas_left=self.wall_gas_left - vapour.by_gas_left,
            wall_gas_here=self.wall_gas_here - vapour.by_gas_here,
            wall_gas_right=self.wall_gas_right - vapour.by_gas_right,
            vapour=vapour,
        )


class AtFaces(NamedTuple):
    """A diffusivity at the faces, m²/s, and its slopes to the node on the left and on the right."""

    value: FloatArray
    left: FloatArray
    right: FloatArray

    @classmethod
    def of(cls, diffusivity: Diffusivity, spacing: FloatArray) -> AtFaces:
        """From its slopes in the gradient and in the temperature of each side."""
        left, right = diffusivity.temperature_slope / 2
        rest = diffusivity.gradient_slope / spacing
        return cls(diffusivity.value, left - rest, right + rest)


class Carried(NamedTuple):
    """What the gas does at some temperatures: volumetric heat capacity and its slope, gradient and
    mixing at the faces, that by buoyancy with its slopes, and the exchange with its own."""

    state: GasState
    volumetric: tuple[FloatArray, FloatArray]
    gradient: FloatArray
    mixed: FloatArray
    buoyant: AtFaces | None
    exchange: tuple[FloatArray, FloatArray, FloatArray, FloatArray]


def face_mean(node: FloatArray) -> FloatArray:
    """Mean of the two nodes beside each face."""
    return (node[..., :-1] + node[..., 1:]) / 2


def node_mean(face: FloatArray) -> FloatArray:
    """Mean of the faces beside each node; the only one at the ends."""
    node = np.empty((face.shape[0], face.shape[1] + 1))
    node[:, 0], node[:, -1] = face[:, 0], face[:, -1]
    node[:, 1:-1] = face_mean(face)
    return node


def shared_slopes(weight: FloatArray, faces: AtFaces) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Of a node's sum of ``weight`` times the faces beside it, to left, own and right node."""
    left, here, right = (np.zeros_like(weight) for _ in range(3))
    before, after = weight[:, 1:], weight[:, :-1]
    left[:, 1:] = before * faces.left
    right[:, :-1] = after * faces.right
    here[:, 1:] = before * faces.right
    here[:, :-1] += after * faces.left
    return left, here, right


def divergence(
    flux: FloatArray, by_left: FloatArray, by_right: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """What leaves each node less what enters, with slopes to left, own and right node."""
    every = np.zeros((4, flux.shape[0], flux.shape[1] + 1))
    leaving, left, here, right = every
    leaving[:, :-1] = flux
    leaving[:, 1:] -= flux
    left[:, 1:] -= by_left
    right[:, :-1] = by_right
    here[:, :-1] = by_left
    here[:, 1:] -= by_right
    return leaving, left, here, right
