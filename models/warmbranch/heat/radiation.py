"""Grey-body exchange between the skin and everything it sees."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import STEFAN_BOLTZMANN


def radiative_flux(
    temperature: FloatArray, radiant_temperature: FloatArray, emissivity: FloatArray
) -> tuple[FloatArray, FloatArray]:
    r"""Heat that a small convex grey body radiates to large surroundings, and its slope.

    .. math:: q = \varepsilon \sigma (T^4 - T_\text{radiant}^4)

    Parameters
    ----------
    temperature : array, K
        Of the skin.
    radiant_temperature : array, K
        The one temperature of all that the skin sees; broadcasts against ``temperature``.
    emissivity : array, dimensionless
        Total hemispherical; 0 to 1; broadcasts likewise.

    Returns
    -------
    flux : array, W/m²
        Positive when the skin is the warmer.
    slope : array, W/(m² K)
        Derivative of ``flux`` with respect to ``temperature``.

    Valid for
    ---------
    Surroundings much larger than the body, of which the body sees nothing of itself.

    Check
    -----
    Exact, by hand: a black body at 1000 K in surroundings at 0 K radiates ``σ·1e12``.

    >>> flux, slope = radiative_flux(np.array(1000.0), np.array(0.0), np.array(1.0))
    >>> float(flux.round(5)), float(slope.round(8))
    (56703.74419, 226.81497676)

    Source
    ------
    Law of Stefan and Boltzmann; constant of CODATA 2018.
    """
    strength = STEFAN_BOLTZMANN * emissivity
    cubed = temperature * np.square(temperature)
    fourth = np.square(np.square(radiant_temperature))
    return strength * (cubed * temperature - fourth), 4 * strength * cubed


def gas_exchange(
    coefficients: FloatArray, gas: FloatArray, wall: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Heat that a gas radiates to the wall round it, W/m², and its slopes, W/(m² K).

    Parameters
    ----------
    coefficients : (designs, terms) array, dimensionless
        See :func:`warmbranch.gas.emissivity.exchange_coefficients`, which has equation and source.
    gas, wall : (designs, nodes) array, K

    Returns
    -------
    flux, by_gas, by_wall : (designs, nodes) array
        ``by_wall`` is the slope with a colder wall: both are above 0.
    """

    def potential(temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
        t = temperature / 1000
        slope, whole = np.zeros_like(t), np.zeros_like(t)
        for k in range(coefficients.shape[1] - 1, -1, -1):
            own = coefficients[:, k, None]
            slope = slope * t + own
            whole = whole * t + own / (4 + k)
        cubed = STEFAN_BOLTZMANN * temperature * np.square(temperature)
        return cubed * temperature * whole, cubed * slope

    (sent, by_gas), (taken, by_wall) = potential(gas), potential(wall)
    return sent - taken, by_gas, by_wall
