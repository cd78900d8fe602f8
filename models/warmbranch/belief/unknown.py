"""One thing that is uncertain: its prior, and how it acts on a case.

Every unknown has one coordinate in which its prior is normal: the logarithm of a positive
coefficient, the shift of a temperature, the shift of an emissivity's logit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.case.closures import CAP_PRESSURE, Prior

NORMAL_95 = 1.959963984540054
"""Standard deviations to either side that hold 95 % of a normal distribution."""

AIR_TEMPERATURE_SPREAD = 5.0
"""K, one standard deviation: air under a car is not that of the forecast. Our judgement."""

GAS_TEMPERATURE_SPREAD = 0.10
"""One standard deviation of the logarithm of the main gas's excess over the air. Our judgement:
a thermocouple at a wall, another load, another place along the pipe."""

LEAST_GAS_SPREAD = 25.0
"""K, the least of the same: an error of the instrument and its place does not shrink with the
excess. Our judgement."""

MASS_FLOW_SPREAD = 0.05
"""One standard deviation of the logarithm of a mass flow that is given. Our judgement."""

COMPOSITION_SPREAD = 0.005
"""One standard deviation of the logarithm of the sound speed, from fuel, excess air and humidity
that may be otherwise than told: fuels are blends, engines wear. Our judgement. It goes with
``tone``, as it moves the sound speed all along alike. What was not told: ``burning.py``."""

LENGTH_SPREAD = 0.005
"""m, one standard deviation of the length: along the centre-line round bends, to where a dished cap
ends, from an inner wall that is not seen. Our judgement. It goes with ``tone``, too, and counts for
most in a short branch."""

STILL_AIR = 1.0
"""m/s, median of what moves across a branch in air that is called still, where its speed is
unsure. Our judgement: a fan, the heat of the pipe, a draught under a car."""

EMISSIVITY_SPREAD = 0.4
"""One standard deviation of the logit of a named surface's emissivity: what most of the ranges
in surfaces.py come to."""


def log_spread(prior: Prior) -> float:
    """Standard deviation of the logarithm, from the range that holds 95 %."""
    return float(np.log(prior.high / prior.low) / (2 * NORMAL_95))


CAP_PRESSURE_SPREAD = log_spread(CAP_PRESSURE)

TABLE_MARGIN = 2.5
"""Standard deviations of gas and air temperature that must lie within the property tables."""


class Gaussian(NamedTuple):
    """A normal prior in an unknown's own coordinate."""

    centre: float
    spread: float


@dataclass(frozen=True)
class Spreads:
    """Prior widths that belong to a case, not to the model.

    Parameters
    ----------
    air_temperature : float, K
    gas_temperature : float, dimensionless
        Of the logarithm of the excess over the air.
    least_gas_temperature : float, K
        Of the excess, where ``gas_temperature`` comes to less.
    composition : float, dimensionless
        Of the logarithm of the gas's sound speed. 0 where the mixture is known.
    composition_shift : float, dimensionless
        By how much that logarithm is believed to lie above the case's: no width, but told with it.
    length : float, m
        Of the branch's length over the one that is given.
    emissivity : float, dimensionless
        Of the logit of the branch's own emissivity. 0 where it is known.
    mass_flow : float, dimensionless
        Of the logarithm of the main pipe's mass flow.
    cap_pressure : float, dimensionless
        Of the logarithm of the tone's pressure at the cap. 0 where it is known.
    air_speed : float, dimensionless
        Of the logarithm of the air's speed, which is ``STILL_AIR`` in the middle where the case
        has none. 0 where it is known, as in the next three.
    radiant_temperature : float, K
    rise : float, rad
    wrap_conductivity : float, dimensionless
        Of its logarithm.
    fixed : frozenset of str
        Unknowns taken as known.
    """

    air_temperature: float = AIR_TEMPERATURE_SPREAD
    gas_temperature: float = GAS_TEMPERATURE_SPREAD
    least_gas_temperature: float = LEAST_GAS_SPREAD
    composition: float = COMPOSITION_SPREAD
    composition_shift: float = 0.0
    length: float = LENGTH_SPREAD
    emissivity: float = EMISSIVITY_SPREAD
    mass_flow: float = MASS_FLOW_SPREAD
    cap_pressure: float = CAP_PRESSURE_SPREAD
    air_speed: float = 0.0
    radiant_temperature: float = 0.0
    rise: float = 0.0
    wrap_conductivity: float = 0.0
    fixed: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Unknown:
    """One thing that is uncertain.

    Parameters
    ----------
    name : str
    unit : str
        Of the value that people read: SI, ``"1"`` for a pure number.
    prior : callable
        From one case and its spreads to the prior, or None where the unknown has no effect.
    apply : callable
        From a batch of cases and one coordinate a design to the batch that has it.
    value : callable
        From one case and coordinates to values in ``unit``.
    """

    name: str
    unit: str
    prior: Callable[[Case, Spreads], Gaussian | None]
    apply: Callable[[Case, FloatArray], Case]
    value: Callable[[Case, FloatArray], FloatArray]
