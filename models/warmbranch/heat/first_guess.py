"""Where the search for the steady temperatures starts, and between what it stays."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.heat.heat_balance import HeatBalance


def bounds(case: Case, wall_at_mouth: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest temperature that a solution can take, (designs, 1), K."""
    around, hot = case.surroundings, case.main_pipe.gas_temperature
    low = high = hot
    everything = [wall_at_mouth, around.air_temperature, around.radiant_temperature]
    if np.isfinite(around.rear_from).any():
        rear = around.rear
        everything += [rear.air_temperature, rear.radiant_temperature]
    for temperature in everything:
        low, high = np.minimum(low, temperature), np.maximum(high, temperature)
    return low[:, None], high[:, None]


def first_guess(
    balance: HeatBalance, wall_at_mouth: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Gas falls to the air over a few bores, the wall sits nearer the air."""
    case = balance.case
    air = case.surroundings.air_temperature[:, None]
    reach = np.minimum(6 * case.branch.bore, case.branch.length)[:, None]
    fall = np.exp(-balance.x / reach)
    gas = air + (case.main_pipe.gas_temperature[:, None] - air) * fall
    wall = air + (wall_at_mouth[:, None] - air) * fall / (1 + 3 * balance.x / reach)
    # Cold gas in a hot tube soon takes the tube's temperature; were it guessed far below, its
    # conductivity, which rises with temperature, would lead Newton's method away.
    hot, at_mouth = case.main_pipe.gas_temperature[:, None], wall_at_mouth[:, None]
    taken = wall + (hot - wall) * np.exp(-balance.x / case.branch.bore[:, None])
    gas = np.where(at_mouth > hot, taken, gas)
    return gas, wall, wall.copy()
