"""Heat through the mouth: what the shear layer between main pipe and branch lets pass."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.case import Case
from warmbranch.gas.gas import MixtureTable

DISC_SHAPE_FACTOR = 2.0
"""Conduction from a half-space into a disc, over conductivity × diameter × difference: what passes
when nothing flows. Exact [Incropera2011], table of shape factors, from memory."""


def mouth_resistance(
    case: Case, gas: MixtureTable, speed: FloatArray, temperature: FloatArray | None = None
) -> FloatArray:
    r"""Resistance of the mouth to heat, (designs,), K/W; 0 where the mouth does not resist.

    .. math:: 1/R = A\,\rho c_p k_m U + 2 k d

    Parameters
    ----------
    case : Case
    gas : MixtureTable
    speed : (designs,) array, m/s
        Bulk speed U in the main pipe.
    temperature : (designs,) array, K, optional
        Of the main pipe's gas; the case's unless given.

    Valid for
    ---------
    Turbulent flow past a sharp or slightly rounded mouth; ``k_m`` is a wide prior: see closures.py.

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
    with np.errstate(invalid="ignore"):  # infinite exchange at no speed
        moved = np.where(speed > 0, case.closures.mouth_exchange * speed, 0.0)
    free = np.isinf(case.closures.mouth_exchange)
    return np.where(free, 0.0, 1 / np.where(free, 1.0, exchange * moved + stagnant))
