"""Heat through the mouth: what the shear layer between main pipe and branch lets pass."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.gas.gas import MixtureTable

DISC_SHAPE_FACTOR = 2.0
"""Conduction from a half-space into a disc, over conductivity × diameter × difference: what passes
when nothing flows. Exact [Incropera2011], table of shape factors, from memory."""

SELF_EXCITED = 0.04
"""Amplitude of the gas's velocity at the mouth, over the main pipe's speed, where no tone drives
it: a closed branch sings by itself. Our own simulation, one run (0.054), 95 % between 0.01 and
0.15 in our judgement: see tests/experiments/mouth/closures.md."""


def characteristic_impedance(
    gas: MixtureTable, temperature: FloatArray, pressure: FloatArray
) -> FloatArray:
    """Density times sound speed, ``ρ c``, (designs,), Pa s/m, at (designs,) temperatures, K.

    The same in C: core/heat_balance.c.
    """
    hot = temperature[:, None]
    return (gas.density(hot, pressure) * gas.sound_speed(hot))[:, 0]


def mouth_resistance(
    case: Case,
    gas: MixtureTable,
    speed: FloatArray,
    temperature: FloatArray | None = None,
    cap_pressure: FloatArray | None = None,
) -> FloatArray:
    r"""Resistance of the mouth to heat, (designs,), K/W; 0 where the mouth does not resist.

    .. math:: 1/R = A\,\rho c_p (k_m U + k_u u') + 2 k d,
              \quad u'^2 = (p_{cap}/\rho c)^2 + (0.04\,U)^2

    Parameters
    ----------
    case : Case
    gas : MixtureTable
    speed : (designs,) array, m/s
        Bulk speed U in the main pipe.
    temperature : (designs,) array, K, optional
        Of the main pipe's gas; the case's unless given.
    cap_pressure : (designs,) array, Pa, optional
        Amplitude of the tone at the cap; the case's unless given.

    Valid for
    ---------
    Turbulent flow past a sharp or slightly rounded mouth, tones whose gas moves less than half as
    fast as the main flow (above, the mouth hardly resists and the number matters little). Our own
    simulation; ``k_m`` and ``k_u`` are wide priors: see closures.py.

    Check
    -----
    Exact: the branch behind the resistance is the branch of a main pipe whose gas has the
    temperature just inside the mouth.
    """
    hot = case.main_pipe.gas_temperature if temperature is None else temperature
    state = gas.evaluate(hot[:, None])
    density = gas.density(hot[:, None], case.surroundings.pressure)[:, 0]
    exchange = density * state.heat_capacity[:, 0] * case.branch.bore_area
    stagnant = DISC_SHAPE_FACTOR * state.conductivity[:, 0] * case.branch.bore
    pressure = case.main_pipe.cap_pressure if cap_pressure is None else cap_pressure
    impedance = characteristic_impedance(gas, hot, case.surroundings.pressure)
    tone = np.hypot(pressure / impedance, SELF_EXCITED * speed)
    free = np.isinf(case.closures.mouth_exchange)
    by_flow = np.where(free, 0.0, case.closures.mouth_exchange) * speed
    moved = by_flow + case.closures.tone_exchange * tone
    return np.where(free, 0.0, 1 / (exchange * moved + stagnant))
