"""Which orders an engine may sound, and how sure each is to be heard.

The one place of this room that knows the engine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.base.errors import InputError
from warmbranch.case.engine import Cycle, firing_order, order_amplitudes, strongest_order

HIGHEST_RATE = 0.6
"""1/s. Of the logarithm of the speed, by default: a full-throttle pull in a low gear."""


MOST_FIRING_MULTIPLES = 8
"""Multiples of the firing order that are followed: higher ones of a slow engine are weak."""

WHOLE = 0.5
"""Of equal pulses: an order at which they add up to this much is expected to be heard."""


@dataclass(frozen=True)
class Layout:
    """The orders of an engine.

    Parameters
    ----------
    orders : (orders,) array, 1/revolution
        All that the layout permits, rising: multiples of 1/2 for a four-stroke engine.
    expected : (orders,) array of bool
        Orders at which equal pulses add up; the others are there as far as cylinders differ.
    main_order : float, 1/revolution
        The order that a branch is cut for.
    """

    orders: FloatArray
    expected: BoolArray
    main_order: float


def engine_layout(
    cylinders: int,
    cycle: Cycle,
    firing_angles: FloatArray | None = None,
    main_order: float | None = None,
) -> Layout:
    """Orders of an engine whose pulses come evenly, or at ``firing_angles``.

    Parameters
    ----------
    cylinders : int
        That feed the pipe heard.
    cycle : Cycle
    firing_angles : (cylinders,) array, rad
        By default even.
    main_order : float, 1/revolution
        By default the strongest.

    Returns
    -------
    Layout

    Check
    -----
    By counting: an even four-stroke four is expected at 2, 4, 6, ...

    >>> four = engine_layout(4, Cycle.FOUR_STROKE)
    >>> four.orders[four.expected][:3], four.main_order
    (array([2., 4., 6.]), 2.0)
    """
    if cylinders < 1:
        raise InputError(
            "An engine has a cylinder at least.",
            field="engine.cylinders",
            value=cylinders,
            unit="1",
            remedy="Give how many cylinders feed the pipe.",
        )
    if firing_angles is None:
        turn = 2 * np.pi * cycle.revolutions
        firing_angles = np.arange(cylinders) * turn / cylinders
    strongest = strongest_order(firing_angles, cycle)
    highest = max(
        MOST_FIRING_MULTIPLES * firing_order(cylinders, cycle),
        MOST_FIRING_MULTIPLES / cycle.revolutions,
    )
    orders, amplitudes = order_amplitudes(firing_angles, cycle, highest)
    return Layout(orders, amplitudes >= WHOLE, strongest if main_order is None else main_order)
