"""The model's heat balance with what the model knows nothing of, for the truths of worlds."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import STEFAN_BOLTZMANN
from warmbranch.heat.banded import newton_step
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.linearised import Linearised
from warmbranch.heat.profile import TemperatureProfile

MOST_STEPS = 60
CLOSE = 1e-6
"""K. A truth's temperatures are settled after so small a step."""


@dataclass(frozen=True)
class Amended(HeatBalance):
    """A bare branch whose surroundings, surface or cap are other than the model has them.

    Parameters
    ----------
    film : (designs, nodes) array, dimensionless
        Multiplies what is lost outside, radiation along with convection.
    blacker : (designs, nodes) array, dimensionless
        Emissivity over that of the case's covering.
    gain : (designs, nodes) array, W/m²
        That the skin takes in besides.
    through : (designs,) array, kg/s
        Of the main pipe's gas, that enters at the mouth and leaves by the cap.
    """

    film: FloatArray
    blacker: FloatArray
    gain: FloatArray
    through: FloatArray

    @classmethod
    def of(cls, balance: HeatBalance, **more: FloatArray) -> Self:
        """A balance of the model, amended."""
        own = {item.name: getattr(balance, item.name) for item in fields(HeatBalance)}
        return cls(**own, **more)

    def linearise(self, gas: FloatArray, wall: FloatArray, skin: FloatArray) -> Linearised:
        """Residuals and slopes at the given temperatures, each (designs, nodes), K.

        What passes through carries heat from each node to the next, upwind, so that no node is
        heated beyond its neighbours; the vapour in it is left out.
        """
        system = super().linearise(gas, wall, skin)
        radiant = self.case.surroundings.radiant_temperature[:, None]
        strength = self.blacker * STEFAN_BOLTZMANN * self.skin_area
        radiated = strength * (skin**4 - radiant**4) - self.gain * self.skin_area
        heat_capacity = self.gas.evaluate(gas).heat_capacity
        carried = self.through[:, None] * heat_capacity
        upstream = np.concatenate([self.main_gas[:, None], gas[:, :-1]], axis=1)
        left = np.array(carried)
        left[:, 0] = 0.0  # the main pipe's gas, which is given
        return system._replace(
            skin_loss=self.film * system.skin_loss + radiated,
            skin_slope=self.film * system.skin_slope + 4 * strength * skin**3,
            gas=system.gas + carried * (gas - upstream),
            gas_here=system.gas_here + carried,
            gas_left=system.gas_left - left,
        )


def settled(balance: Amended, wall: FloatArray, warmest: float) -> TemperatureProfile:
    """Newton's method, with a main pipe's wall (designs,) and bounds that no skin passes, K."""
    around = balance.case.surroundings.air_temperature
    firsts = (balance.case.main_pipe.gas_temperature, wall, wall)
    s = balance.x / balance.x[:, -1:]
    now = [around + (first - around) * np.exp(-3 * s) for first in firsts]
    low, high = float(np.min([around, *firsts])), float(np.max([around, *firsts, [warmest]]))
    for step in range(MOST_STEPS):
        system = balance.linearise(*now)
        change = newton_step(system)[:3]
        share = 0.5 if step > MOST_STEPS // 3 else 1.0
        now = [np.clip(t + share * d, low, high) for t, d in zip(now, change, strict=True)]
        if max(float(np.max(np.abs(d))) for d in change) < CLOSE:
            dried = np.zeros_like(now[0]) if system.vapour is None else system.vapour.dried
            return TemperatureProfile(balance.x, *now, dried, *np.zeros((4, 1)))
    raise RuntimeError("this truth has not settled")
