"""What is believed of a burnt gas where nobody said what burns, or with how much air.

Petrol burnt with just the air that it needs makes the gas that sound is slowest in: of whatever
else may burn the branch sounds higher. So what is not told does not only widen what is believed,
it shifts it.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.unknown import COMPOSITION_SPREAD, Gaussian
from warmbranch.gas.combustion import LEANEST, RICHEST, burnt_gas
from warmbranch.gas.gas import MixtureTable

FUELS_BURNT = {"petrol": 0.30, "petrol E10": 0.35, "diesel": 0.15, "LPG": 0.10, "methane": 0.10}
"""How likely each is where no fuel is told: mostly cars, some plant. Our judgement."""

BY_SPARK = {0.85: 0.10, 0.90: 0.15, 0.95: 0.10, 1.0: 0.55, 1.1: 0.10}
"""How likely each excess-air ratio is where none is told: with a catalyst just 1, richer at full
throttle and with a carburettor. Our judgement."""

BY_COMPRESSION = {1.3: 0.2, 2.0: 0.4, 3.0: 0.25, 4.0: 0.15}
"""The same of diesel, from full load to idle."""

TOLD_WITHIN = 0.05
"""Spread of the logarithm of an excess-air ratio that is told. Our judgement."""

HALF_SATURATED = 0.0075
HUMID = {0.003: 0.25, HALF_SATURATED: 0.5, 0.014: 0.25}
"""Water in the air that is drawn, kg/kg: cold or dry, half saturated at 20 °C, a summer's."""

REFERENCE = 400.0
"""K, at which sound speeds are compared; their ratios hardly move with it."""


@lru_cache(maxsize=256)
def sound_of(
    fuel: str, excess_air: float, *, fuel_told: bool = True, air_told: bool = True
) -> Gaussian:
    r"""ln(sound speed) of what burns over that of what is taken to burn.

    What condenses on the way is left out: in a humid gas the part that dries is nearly made up for
    by the part that does not.

    Parameters
    ----------
    fuel : str
        A key of ``FUELS``, as the gas was made.
    excess_air : float, dimensionless
        The same.
    fuel_told, air_told : bool
        Whether somebody said so.

    Returns
    -------
    Gaussian
        Mean and spread of all that may burn, each by its likelihood; the spread is
        ``COMPOSITION_SPREAD`` at least.

    Valid for
    ---------
    Branches of 0.5 to 1.5 m: against the whole model, with condensing, the mean shift of the first
    resonance is right within 0.3 %. tests/models/belief/test_burning.py.
    """
    taken = _logarithm(fuel, excess_air, HALF_SATURATED)
    shares: list[float] = []
    sounds: list[float] = []
    for burnt, likely in ({fuel: 1.0} if fuel_told else FUELS_BURNT).items():
        for ratio, by_air in _ratios(burnt, excess_air if air_told else None).items():
            for humidity, by_water in HUMID.items():
                shares.append(likely * by_air * by_water)
                sounds.append(_logarithm(burnt, ratio, humidity) - taken)
    weights: FloatArray = np.array(shares)
    over: FloatArray = np.array(sounds)
    mean = float(weights @ over)
    spread = float(np.sqrt(weights @ (over - mean) ** 2))
    return Gaussian(mean, max(spread, COMPOSITION_SPREAD))


def _ratios(fuel: str, told: float | None) -> dict[float, float]:
    """Excess-air ratios and how likely each is."""
    if told is None:
        return BY_COMPRESSION if fuel == "diesel" else BY_SPARK
    # Three points with the mean and the spread of a normal distribution.
    aside = math.exp(TOLD_WITHIN * math.sqrt(3))
    # Richer and leaner than can be made here is believed to be as the last that can.
    return {max(told / aside, RICHEST): 1 / 6, told: 2 / 3, min(told * aside, LEANEST): 1 / 6}


@lru_cache(maxsize=1024)
def _logarithm(fuel: str, excess_air: float, humidity: float) -> float:
    table, warm = MixtureTable.of(burnt_gas(fuel, excess_air, humidity)), np.full((1, 1), REFERENCE)
    return float(np.log(table.sound_speed(warm))[0, 0])
