"""Nusselt correlations: round the tube, natural and forced, and along the main pipe.

Properties are those at the film temperature, the mean of skin and air; the expansion coefficient
of an ideal gas is one over it.
"""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.closures import FLOWING_NUSSELT
from warmbranch.heat.nusselt_with_slopes import (
    LEVEL_PRANDTL,
    LEVEL_STILL,
    PLATE_PRANDTL,
    PLATE_STILL,
    sloped_churchill_chu,
    sloped_cross_flow,
    sloped_vertical_cylinder,
)

NUSSELT_LAMINAR = FLOWING_NUSSELT
"""Developed laminar flow in a round tube of one wall temperature. Exact: 3.6568."""

LAMINAR_LIMIT = 2300.0
TURBULENT_LIMIT = 4000.0
"""Reynolds numbers between which the flow in a pipe changes over [Gnielinski2013]."""


def nusselt_horizontal_cylinder_natural(rayleigh: FloatArray, prandtl: FloatArray) -> FloatArray:
    r"""Natural convection round a level cylinder of one skin temperature.

    .. math:: Nu = \left[0.60 + 0.387 Ra^{1/6} / (1 + (0.559/Pr)^{9/16})^{8/27}\right]^2

    Parameters
    ----------
    rayleigh : array, dimensionless
        On the diameter. ``>= 0``.
    prandtl : array, dimensionless

    Returns
    -------
    array, dimensionless
        On the diameter.

    Valid for
    ---------
    ``Ra <= 1e12``, any Prandtl number; the spread among correlations is about 10 %.

    Check
    -----
    Published: Ra 1.869e6, Pr 0.7241 gives 17.40 (Çengel, example 9-1).

    >>> round(float(nusselt_horizontal_cylinder_natural(np.array(1.869e6), np.array(0.7241))), 2)
    17.4

    Source
    ------
    [ChurchillChu1975], formula from memory.
    """
    return sloped_churchill_chu(rayleigh, prandtl, LEVEL_STILL, LEVEL_PRANDTL).value


def nusselt_vertical_plate_natural(rayleigh: FloatArray, prandtl: FloatArray) -> FloatArray:
    r"""Natural convection on an upright plate of one skin temperature.

    .. math:: Nu = \left[0.825 + 0.387 Ra^{1/6} / (1 + (0.492/Pr)^{9/16})^{8/27}\right]^2

    Parameters
    ----------
    rayleigh : array, dimensionless
        On the height. ``>= 0``.
    prandtl : array, dimensionless

    Returns
    -------
    array, dimensionless
        On the height.

    Valid for
    ---------
    ``Ra <= 1e12``, any Prandtl number.

    Check
    -----
    Published: Ra 1.813e9 (Gr 2.63e9), Pr 0.69 gives 147 (Incropera, example 9.2).

    >>> round(float(nusselt_vertical_plate_natural(np.array(0.69 * 2.63e9), np.array(0.69))))
    147

    Source
    ------
    [ChurchillChu1975], formula from memory.
    """
    return sloped_churchill_chu(rayleigh, prandtl, PLATE_STILL, PLATE_PRANDTL).value


def nusselt_vertical_cylinder_natural(
    rayleigh: FloatArray, prandtl: FloatArray, length_over_diameter: FloatArray
) -> FloatArray:
    r"""Natural convection on an upright cylinder, its curvature included.

    .. math::
        Nu = Nu_\text{plate}\,[1 + B \xi^C],\quad
        \xi^{-4} = \frac{Gr}{32^2 (L/D)^4} + \xi_\text{max}^{-4}

    with ``B = 0.0571322 + 0.20305 Pr^-0.43`` and
    ``C = 0.9165 - 0.0043 Pr^0.5 + 0.01333 ln Pr + 0.0004809 / Pr``.

    Parameters
    ----------
    rayleigh : array, dimensionless
        On the height. ``>= 0``.
    prandtl, length_over_diameter : array, dimensionless

    Returns
    -------
    array, dimensionless
        On the height.

    Valid for
    ---------
    Laminar flow, 0.01 < Pr < 100. The published correction has no :math:`\xi_\text{max}`, and
    grows without limit as the skin nears air temperature; ours ends at 10, which changes the
    result by less than 0.02 % wherever :math:`\xi < 2`.

    Check
    -----
    Published correlation as coded in the library ``ht``, in tests/models/heat/test_films.py.

    >>> at = np.array(1e10 * 0.7), np.array(0.7), np.array(2.5)
    >>> round(float(nusselt_vertical_cylinder_natural(*at)), 2)
    228.9

    Source
    ------
    [Popiel2008]; plate: [ChurchillChu1975].
    """
    return sloped_vertical_cylinder(rayleigh, prandtl, length_over_diameter).value


def nusselt_cross_flow(reynolds: FloatArray, prandtl: FloatArray) -> FloatArray:
    r"""Air blown across a cylinder.

    .. math::
        Nu = 0.3 + \frac{0.62 Re^{1/2} Pr^{1/3}}{[1 + (0.4/Pr)^{2/3}]^{1/4}}
        \left[1 + (Re/282000)^{5/8}\right]^{4/5}

    Parameters
    ----------
    reynolds : array, dimensionless
        On the diameter. ``>= 0``.
    prandtl : array, dimensionless

    Returns
    -------
    array, dimensionless
        On the diameter.

    Valid for
    ---------
    ``Re Pr > 0.2``.

    Check
    -----
    Published: Re 6071, Pr 0.70 gives 40.6 (Incropera, example 7.4).

    >>> round(float(nusselt_cross_flow(np.array(6071.0), np.array(0.70))), 1)
    40.6

    Source
    ------
    [ChurchillBernstein1977], formula from memory.
    """
    return sloped_cross_flow(reynolds, prandtl).value


def nusselt_pipe_turbulent(reynolds: FloatArray, prandtl: FloatArray) -> FloatArray:
    r"""Developed turbulent flow in a smooth round pipe.

    .. math::
        Nu = \frac{(f/8)(Re - 1000) Pr}{1 + 12.7 \sqrt{f/8}\,(Pr^{2/3} - 1)},\quad
        f = (0.790 \ln Re - 1.64)^{-2}

    Parameters
    ----------
    reynolds, prandtl : array, dimensionless

    Returns
    -------
    array, dimensionless
        On the bore.

    Valid for
    ---------
    ``3000 < Re < 5e6``, ``0.5 < Pr < 2000``, steady flow, far from the entrance.

    Check
    -----
    Computed, and the same in the library ``ht``: Re 1e4, Pr 0.735 gives 30.545.

    >>> round(float(nusselt_pipe_turbulent(np.array(1e4), np.array(0.735))), 3)
    30.545

    Source
    ------
    [Gnielinski1976], friction factor of Petukhov, formulas from memory.
    """
    eighth: FloatArray = 0.125 / np.square(0.790 * np.log(reynolds) - 1.64)
    wall_layer: FloatArray = 1 + 12.7 * np.sqrt(eighth) * (np.cbrt(np.square(prandtl)) - 1)
    return eighth * (reynolds - 1000) * prandtl / wall_layer


def nusselt_pipe(reynolds: FloatArray, prandtl: FloatArray) -> FloatArray:
    r"""Flow in a smooth round pipe, laminar to turbulent.

    3.66 up to Re 2300, :func:`nusselt_pipe_turbulent` from 4000, and between them the straight
    line in Re that joins the two.

    Parameters
    ----------
    reynolds, prandtl : array, dimensionless

    Returns
    -------
    array, dimensionless
        On the bore.

    Valid for
    ---------
    ``Re < 5e6``, ``0.5 < Pr < 2000``, steady flow, far from the entrance.

    Check
    -----
    Exact at the ends of the line, and half way between them at Re 3150.

    >>> ends_and_middle = nusselt_pipe(np.array([2300.0, 4000.0, 3150.0]), np.array(0.7))
    >>> (ends_and_middle[2] - ends_and_middle[:2].mean()).round(12) + 0.0
    np.float64(0.0)

    Source
    ------
    [Gnielinski2013] for the line (formula from memory), [Gnielinski1976] beyond it.
    """
    share = (reynolds - LAMINAR_LIMIT) / (TURBULENT_LIMIT - LAMINAR_LIMIT)
    at_limit = nusselt_pipe_turbulent(np.asarray(TURBULENT_LIMIT), prandtl)
    changing = NUSSELT_LAMINAR + share * (at_limit - NUSSELT_LAMINAR)
    # The turbulent formula is never asked below its own limit, where it loses its meaning.
    turbulent = nusselt_pipe_turbulent(np.maximum(reynolds, TURBULENT_LIMIT), prandtl)
    return np.where(share <= 0, NUSSELT_LAMINAR, np.where(share < 1, changing, turbulent))
