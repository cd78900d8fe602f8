"""Exact temperatures against time of lumped bodies and of fins that begin cold.

All temperatures are relative to the surroundings.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from closed_forms.fins import Fin, fin_excess_ratio
from warmbranch.base.batch import FloatArray


def lumped_time_constant(
    density: float, heat_capacity: float, volume: float, conductance: float
) -> float:
    r"""Time constant of a body of one temperature, :math:`\tau = \rho c V / \sum hA`, s.

    Parameters
    ----------
    density, heat_capacity : float; kg/m³, J/(kg K)
    volume : float, m³
        Or per metre, m², with the conductance per metre.
    conductance : float, W/K
        Sum of film times area.

    Valid for
    ---------
    A Biot number below 0.1.

    Check
    -----
    Incropera's thermocouple junction and a wall with two sides, in
    fixtures/published/Incropera2011Transients.toml and LumpedWall.toml.

    Source
    ------
    Textbook; by hand.
    """
    return density * heat_capacity * volume / conductance


def lumped_temperature(
    time: FloatArray, start: float, surroundings: float, time_constant: float
) -> FloatArray:
    """``T∞ + (T0 − T∞) exp(−t/τ)``; all temperatures in one unit, times in s.

    >>> float(lumped_temperature(np.array(1.0), 1.0, 0.0, 1.0).round(6))
    0.367879
    """
    return surroundings + (start - surroundings) * np.exp(-time / time_constant)


class WarmingFin(NamedTuple):
    """A fin whose base jumps from the surroundings' temperature to another.

    Parameters
    ----------
    fin : Fin
    diffusivity : float, m²/s
        Of the metal, ``k/(ρ c)``.
    """

    fin: Fin
    diffusivity: float

    @property
    def loss_rate(self) -> float:
        """``hP/(ρ c A)``, 1/s."""
        return self.diffusivity * self.fin.decay**2


def long_fin_warming(warming: WarmingFin, x: FloatArray, time: float) -> FloatArray:
    r"""Excess over that of the base along an endless fin whose base has jumped.

    .. math::
        \tfrac12 \left[ e^{-mx} \mathrm{erfc}\!\left(\tfrac{x}{2\sqrt{\alpha t}} -
        \sqrt{\nu t}\right) + e^{mx} \mathrm{erfc}\!\left(\tfrac{x}{2\sqrt{\alpha t}} +
        \sqrt{\nu t}\right) \right],\quad \nu = \alpha m^2

    Parameters
    ----------
    warming : WarmingFin
    x : (n,) array, m
    time : float, s
        ``> 0``.

    Returns
    -------
    (n,) array, dimensionless

    Valid for
    ---------
    Lengths many times ``1/m`` and ``√(αt)``.

    Check
    -----
    The series of :func:`fin_warming` for a long fin, in
    tests/models/heat/test_closed_forms_in_time.py.

    Source
    ------
    Carslaw & Jaeger, Conduction of Heat in Solids, the rod that loses heat at its surface, from
    memory.
    """
    reach = 2 * math.sqrt(warming.diffusivity * time)
    lost = math.sqrt(warming.loss_rate * time)
    decay = warming.fin.decay
    falling, rising = (
        np.array([math.exp(sign * decay * at) * math.erfc(at / reach + sign * lost) for at in x])
        for sign in (-1, 1)
    )
    return (falling + rising) / 2


def fin_warming(warming: WarmingFin, x: FloatArray, time: float, terms: int = 400) -> FloatArray:
    r"""Excess over that of the base along a fin with a convecting tip whose base has jumped.

    .. math::
        \theta_\infty(x) - \sum_n c_n \sin(\beta_n x)\, e^{-(\alpha \beta_n^2 + \nu) t},\quad
        \beta \cot \beta L = -h/k

    with :math:`c_n` such that the sum is :math:`\theta_\infty` at the beginning. In closed form,
    since both obey the same tip: :math:`c_n = \beta_n / [(\beta_n^2 + m^2) \int\sin^2]`.

    Parameters
    ----------
    warming : WarmingFin
        The tip's own store of heat is left out.
    x : (n,) array, m
    time : float, s
        ``> 0``.
    terms : int

    Returns
    -------
    (n,) array, dimensionless

    Check
    -----
    :func:`long_fin_warming`, and :func:`fin_excess_ratio` at late times.

    Source
    ------
    Separation of variables.
    """
    fin, length = warming.fin, warming.fin.length
    tip = fin.film / fin.conductivity

    def amiss(beta: float) -> float:
        return beta * math.cos(beta * length) + tip * math.sin(beta * length)

    total = fin_excess_ratio(fin, x)
    for n in range(terms):
        low, high = (n + 0.5) * math.pi / length, (n + 1) * math.pi / length
        beta = low if tip == 0 else _root(amiss, low, high)
        squared = length / 2 - math.sin(2 * beta * length) / (4 * beta)
        coefficient = beta / ((beta**2 + fin.decay**2) * squared)
        fallen = math.exp(-(warming.diffusivity * beta**2 + warming.loss_rate) * time)
        total = total - coefficient * fallen * np.sin(beta * x)
    return total


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Root between two ends of unlike sign, by halving: exact to rounding, and no import."""
    falls = function(low) > 0
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if (function(middle) > 0) is falls:
            low = middle
        else:
            high = middle
    return (low + high) / 2
