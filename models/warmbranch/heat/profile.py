"""Temperatures along branches, and the heat that goes with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import Batched, FloatArray

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
    dried : (designs, nodes) array, mol/mol
        Water that a mole of the gas has lost; nil in a guess.
    """

    position: FloatArray
    gas: FloatArray
    wall: FloatArray
    skin: FloatArray
    dried: FloatArray


@dataclass(frozen=True)
class TemperatureProfile(Temperatures):
    """Temperatures along the branch, and the heat that goes with them.

    Parameters
    ----------
    heat_entering : (designs,) array, W
        Through the mouth, by gas, what its vapour sets free with it, and by wall; negative when
        the branch heats the main pipe.
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
        return Temperatures(self.position, self.gas, self.wall, self.skin, self.dried)


def in_order(parts: Sequence[tuple[NDArray[np.intp], TemperatureProfile]]) -> TemperatureProfile:
    """Join profiles of some designs each, given with their places."""
    order = np.argsort(np.concatenate([index for index, _ in parts]))
    return TemperatureProfile.concatenate([part for _, part in parts]).take(order)


def closure_error(by_gas: FloatArray, by_wall: FloatArray, lost: FloatArray) -> FloatArray:
    """What a profile misses of a balance over what passes: see ``TemperatureProfile``."""
    scale = np.maximum(np.abs(by_gas) + np.abs(by_wall), SMALLEST_HEAT)
    return np.abs(by_gas + by_wall - lost) / scale
