"""Exact temperatures of fins, and of gas and wall side by side.

All temperatures are relative to the surroundings; ``x`` runs from the hot end, the mouth.
"""

from __future__ import annotations

import math
from typing import NamedTuple, cast

import numpy as np

from warmbranch.base.batch import FloatArray


class Fin(NamedTuple):
    """A fin of uniform section whose tip gives off heat as its sides do.

    Parameters
    ----------
    film : float, W/(m² K)
    perimeter, area, length : float, m, m², m
    conductivity : float, W/(m K)
    """

    film: float
    perimeter: float
    area: float
    length: float
    conductivity: float

    @property
    def decay(self) -> float:
        """Fin parameter ``m = √(hP/kA)``, 1/m."""
        return math.sqrt(self.film * self.perimeter / (self.conductivity * self.area))

    @property
    def tip_ratio(self) -> float:
        """``H = h/(mk)``, dimensionless."""
        return self.film / (self.decay * self.conductivity)


def fin_excess_ratio(fin: Fin, x: FloatArray) -> FloatArray:
    r"""Excess temperature along a fin with a convecting tip, over that at its base.

    .. math::
        \frac{\theta}{\theta_b} =
        \frac{\cosh m(L-x) + H \sinh m(L-x)}{\cosh mL + H \sinh mL}

    Parameters
    ----------
    fin : Fin
    x : (n,) array, m
        From the base; ``0 <= x <= length``.

    Returns
    -------
    (n,) array, dimensionless
        1 at the base.

    Valid for
    ---------
    Constant film and conductivity, no radiation, one temperature across the section.

    Check
    -----
    Exact: rod of 10 mm, k 50, h 20, L 0.2: 0.15354694 at the tip.

    >>> rod = Fin(20.0, math.pi * 0.01, math.pi * 0.01**2 / 4, 0.2, 50.0)
    >>> fin_excess_ratio(rod, np.array([0.0, 0.2])).round(8)
    array([1.        , 0.15354694])

    Source
    ------
    [Incropera2011] table 3.4, case A, from memory; verified against its differential equation.
    """
    return _hyperbolic_ratio(fin.decay, fin.tip_ratio, fin.length, x)


def fin_base_heat(fin: Fin, base_excess: float) -> float:
    r"""Heat that enters a fin with a convecting tip, W.

    .. math::
        q = \sqrt{hPkA}\,\theta_b \frac{\sinh mL + H \cosh mL}{\cosh mL + H \sinh mL}

    Parameters
    ----------
    fin : Fin
    base_excess : float, K

    Returns
    -------
    float, W

    Valid for
    ---------
    As :func:`fin_excess_ratio`.

    Check
    -----
    Exact: the rod above, 100 K at its base.

    >>> round(fin_base_heat(Fin(20.0, math.pi * 0.01, math.pi * 0.01**2 / 4, 0.2, 50.0), 100.0), 6)
    4.908448

    Source
    ------
    [Incropera2011] table 3.4, case A, from memory.
    """
    m, tip = fin.decay, fin.tip_ratio
    along = math.tanh(m * fin.length)
    strength = math.sqrt(fin.film * fin.perimeter * fin.conductivity * fin.area)
    return strength * base_excess * (along + tip) / (1 + tip * along)


class CoupledFin(NamedTuple):
    """Gas and wall side by side, each with its own temperature; the cap passes no heat.

    Parameters
    ----------
    gas_conductance, wall_conductance : float, W m/K
        Conductivity (of the gas: effective) times section.
    exchange, loss : float, W/(m K)
        From gas to wall and from wall to surroundings, per unit length: film times perimeter.
    length : float, m
    """

    gas_conductance: float
    wall_conductance: float
    exchange: float
    loss: float
    length: float


class CoupledTemperatures(NamedTuple):
    """Solution of a :class:`CoupledFin`.

    Parameters
    ----------
    gas, wall : (n,) array, K
        Excess over the surroundings.
    entering : float, W
        Heat that enters gas and wall at the mouth.
    """

    gas: FloatArray
    wall: FloatArray
    entering: float


def coupled_fin(
    fin: CoupledFin, x: FloatArray, gas_at_mouth: float, wall_at_mouth: float | None
) -> CoupledTemperatures:
    r"""Gas and wall temperatures along a branch of constant properties.

    .. math::
        K_g T_g'' = a (T_g - T_w), \qquad K_w T_w'' = a (T_w - T_g) + b T_w

    .. math::
        T = \sum_j c_j V_j \frac{\cosh \mu_j (L - x)}{\cosh \mu_j L}, \quad
        \mu^2 = \tfrac12 \left(S \pm \sqrt{S^2 - 4ab/(K_g K_w)}\right),\quad
        S = \frac{a}{K_g} + \frac{a + b}{K_w}

    Parameters
    ----------
    fin : CoupledFin
    x : (n,) array, m
    gas_at_mouth : float, K
        Excess over the surroundings.
    wall_at_mouth : float or None, K
        Excess; None when no heat enters the wall at the mouth.

    Returns
    -------
    CoupledTemperatures

    Valid for
    ---------
    Constant coefficients, all four of them above zero.

    Check
    -----
    Exact, equal to a collocation solution of the same equations to all digits.

    >>> given = CoupledFin(0.08, 0.012, 0.6, 1.6, 1.0)
    >>> coupled_fin(given, np.array([1.0]), 128.0, 60.0).gas.round(8)
    array([25.05843353])

    Source
    ------
    Linear algebra; no source needed.
    """
    a_gas = fin.exchange / fin.gas_conductance
    a_wall = fin.exchange / fin.wall_conductance
    total = a_gas + a_wall + fin.loss / fin.wall_conductance
    product = a_gas * fin.loss / fin.wall_conductance
    large = (total + math.sqrt(total**2 - 4 * product)) / 2
    squares = np.array([product / large, large])  # no difference of near-equal numbers
    mu: FloatArray = np.sqrt(squares, dtype=np.float64)
    wall_part: FloatArray = 1 - squares / a_gas  # of the vector whose gas part is 1
    slopes: FloatArray = mu * np.tanh(mu * fin.length)
    condition = wall_part * slopes if wall_at_mouth is None else wall_part
    conditions: FloatArray = np.stack([np.ones(2), condition])
    given: FloatArray = np.array([gas_at_mouth, wall_at_mouth or 0.0])
    shares = cast("FloatArray", np.linalg.solve(conditions, given))
    shapes = _hyperbolic_ratio(mu, 0.0, fin.length, x[:, None])
    conductances = fin.gas_conductance + fin.wall_conductance * wall_part
    return CoupledTemperatures(
        gas=shapes @ shares,
        wall=shapes @ (wall_part * shares),
        entering=float(np.sum(conductances * slopes * shares)),
    )


def _hyperbolic_ratio(
    decay: float | FloatArray, tip: float, length: float, x: FloatArray
) -> FloatArray:
    """``[cosh m(L−x) + H sinh m(L−x)] / [cosh mL + H sinh mL]``, which never overflows."""
    at_x: FloatArray = (1 + tip) + (1 - tip) * np.exp(-2 * decay * (length - x))
    at_base: FloatArray = (1 + tip) + (1 - tip) * np.exp(np.asarray(-2 * decay * length))
    return np.exp(-decay * x) * at_x / at_base
