"""Engine speed, orders and firing frequency, and the exhaust's mass flow.

Speeds are in revolutions of the crankshaft per second. An order counts events per revolution.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from warmbranch.base.batch import FloatArray

TIE = 1e-9
"""Amplitudes closer than this are equal: rounding of a sum of unit phasors is near 1e-15."""


class Cycle(StrEnum):
    """How often a cylinder fires."""

    FOUR_STROKE = "four-stroke"
    TWO_STROKE = "two-stroke"

    @property
    def revolutions(self) -> int:
        """Revolutions of the crankshaft from one firing of a cylinder to its next."""
        return 2 if self is Cycle.FOUR_STROKE else 1


def firing_order(cylinders: int, cycle: Cycle) -> float:
    """Order of the firing frequency of evenly fired cylinders that share a pipe.

    Parameters
    ----------
    cylinders : int
        That feed the pipe. ``>= 1``.
    cycle : Cycle

    Returns
    -------
    float, 1/revolution

    Valid for
    ---------
    Evenly spaced firing; else :func:`strongest_order`.

    Check
    -----
    Common practice: a four-stroke four fires twice a revolution.

    >>> firing_order(4, Cycle.FOUR_STROKE), firing_order(2, Cycle.TWO_STROKE)
    (2.0, 2.0)

    Source
    ------
    By counting.
    """
    return cylinders / cycle.revolutions


def order_amplitudes(
    firing_angles: FloatArray, cycle: Cycle, highest_order: float | None = None
) -> tuple[FloatArray, FloatArray]:
    r"""How strongly the firing pulses of a pipe add up at each order.

    .. math:: |X(o)| = \frac{1}{N} \left| \sum_i e^{-j o \theta_i} \right|

    Parameters
    ----------
    firing_angles : (cylinders,) array, rad
        Crank angle at which each cylinder that feeds the pipe fires; the origin is free.
    cycle : Cycle
        Angles run over two revolutions of a four-stroke engine, one of a two-stroke.
    highest_order : float, 1/revolution
        Where to stop; by default twice the order that the cylinders would have if even.

    Returns
    -------
    orders : (n,) array, 1/revolution
        All that a steady engine can have: multiples of 1/2 (four-stroke) or 1 (two-stroke).
    amplitudes : (n,) array, dimensionless
        1 where all pulses add up, 0 where they cancel.

    Valid for
    ---------
    Equal pulses and equal runner lengths; unequal ones bring cancelled orders back.

    Check
    -----
    Exact: four-stroke twin that fires at 0 and 360°: orders 1 and 2 whole, the halves cancelled.

    >>> orders, amplitudes = order_amplitudes(np.radians([0.0, 360.0]), Cycle.FOUR_STROKE)
    >>> orders, amplitudes.round(12)
    (array([0.5, 1. , 1.5, 2. ]), array([0., 1., 0., 1.]))

    Source
    ------
    Fourier series of a periodic train of equal pulses.
    """
    if highest_order is None:
        highest_order = 2 * firing_order(len(firing_angles), cycle)
    orders = np.arange(1, round(highest_order * cycle.revolutions) + 1) / cycle.revolutions
    phasors = np.exp(-1j * orders[:, None] * firing_angles)
    amplitudes: FloatArray = np.abs(np.mean(phasors, axis=1))
    return orders, amplitudes


def strongest_order(firing_angles: FloatArray, cycle: Cycle) -> float:
    """Order at which the pulses of a pipe add up best; the lowest of equals.

    Parameters
    ----------
    firing_angles : (cylinders,) array, rad
        As in :func:`order_amplitudes`, whose default range of orders is searched.
    cycle : Cycle

    Returns
    -------
    float, 1/revolution

    Valid for
    ---------
    Equal pulses. The amplitude of one pulse's own spectrum is not weighed in.

    Check
    -----
    Exact: three pulses 240° apart, a bank of a four-stroke six: order 1.5.

    >>> strongest_order(np.radians([0.0, 240.0, 480.0]), Cycle.FOUR_STROKE)
    1.5

    Source
    ------
    As :func:`order_amplitudes`.
    """
    orders, amplitudes = order_amplitudes(firing_angles, cycle)
    return float(orders[np.argmax(amplitudes > amplitudes.max() - TIE)])


def frequency(revolutions_per_second: FloatArray, order: FloatArray) -> FloatArray:
    """Frequency of an order, Hz, at an engine speed in revolutions per second.

    >>> frequency(np.array(2000 / 60), np.array(3.0))
    np.float64(100.0)
    """
    return revolutions_per_second * order


def engine_speed(frequency: FloatArray, order: FloatArray) -> FloatArray:
    """Engine speed, revolutions per second, at which an order has a frequency in Hz.

    >>> engine_speed(np.array(100.0), np.array(2.0)) * 60
    np.float64(3000.0)
    """
    return frequency / order


def exhaust_mass_flow(
    displacement: FloatArray,
    revolutions_per_second: FloatArray,
    volumetric_efficiency: FloatArray,
    intake_density: FloatArray,
    stoichiometric_air_fuel_ratio: FloatArray,
    excess_air_ratio: FloatArray,
    cycle: Cycle,
) -> FloatArray:
    r"""Mass flow of the exhaust of an engine: the air it draws, and the fuel burnt in it.

    .. math:: \dot m = \eta_v\, \rho\, V \frac{n}{r} \left(1 + \frac{1}{\lambda A}\right)

    Parameters
    ----------
    displacement : array, m³
        Of all cylinders that feed the pipe.
    revolutions_per_second : array, 1/s
    volumetric_efficiency : array, dimensionless
        Mass of air drawn over displacement times ``intake_density``.
    intake_density : array, kg/m³
        Of the air that the efficiency refers to.
    stoichiometric_air_fuel_ratio : array, dimensionless
        ``A``, kg air per kg fuel; 14.7 or so for petrol.
    excess_air_ratio : array, dimensionless
        ``λ``: air over the air that the fuel needs.
    cycle : Cycle
        ``r`` is 2 revolutions for a four-stroke, 1 for a two-stroke.

    Returns
    -------
    array, kg/s

    Valid for
    ---------
    All air goes through the engine (no air added to the exhaust).

    Check
    -----
    By hand: 2 litres, 3000 rpm, efficiency 0.8, 1.2 kg/m³: 48 g/s of air; at A = 14.7, λ = 1 the
    exhaust is 51.27 g/s.

    >>> one = np.array(1.0)
    >>> flow = exhaust_mass_flow(
    ...     2e-3 * one, 50 * one, 0.8 * one, 1.2 * one, 14.7 * one, one, Cycle.FOUR_STROKE
    ... )
    >>> round(float(flow), 5)
    0.05127

    Source
    ------
    Definition of the volumetric efficiency, Heywood, Internal Combustion Engine Fundamentals,
    from memory.
    """
    drawn = volumetric_efficiency * intake_density * displacement
    air = drawn * revolutions_per_second / cycle.revolutions
    return air * (1 + 1 / (excess_air_ratio * stoichiometric_air_fuel_ratio))
