"""Sound in a round tube with a viscous and a thermal layer at its wall.

Time convention ``e^{+jωt}``; ``x`` from mouth to cap; ``U`` is volume velocity towards the cap:
``p' = −Z'(x) U``, ``U' = −Y'(x) p``. Both parts of Z' and Y' are then positive for a passive tube.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

import numpy as np

from warmbranch.batch import ComplexArray, FloatArray

WIDE_TUBE = 25.0
"""Shear wave number from which the wide-tube series is used; its last term is then below 1e-8."""

_ROOT_OF_MINUS_J = np.exp(-0.25j * np.pi)


def series_impedance(
    frequency: FloatArray, density: FloatArray, viscosity: FloatArray, radius: FloatArray
) -> ComplexArray:
    r"""Impedance per length of a tube with a viscous wall layer.

    .. math:: Z' = \frac{j\omega\rho}{\pi a^2 [1 - F(r_v)]},\quad r_v = a\sqrt{\rho\omega/\mu}

    Parameters
    ----------
    frequency : array, Hz
        ``> 0``. All arguments broadcast.
    density, viscosity, radius : array; kg/m³, Pa s, m

    Returns
    -------
    complex array, Pa s/m⁴

    Valid for
    ---------
    Plane waves, laminar layer, any wave number.

    Check
    -----
    Published vectors in tests/models/test_viscothermal.py, by mpmath.

    Source
    ------
    Zwikker & Kosten, Sound Absorbing Materials (1949); Tijdeman, J. Sound Vib. 39 (1975) 1.
    """
    omega = 2 * np.pi * frequency
    layer = layer_function(radius * np.sqrt(density * omega / viscosity))
    return 1j * omega * density / (np.pi * radius**2 * (1 - layer))


def shunt_admittance(
    frequency: FloatArray,
    bulk_modulus: FloatArray,
    heat_capacity_ratio: FloatArray,
    density: FloatArray,
    viscosity: FloatArray,
    prandtl: FloatArray,
    radius: FloatArray,
) -> ComplexArray:
    r"""Admittance per length of a tube with a thermal wall layer.

    .. math:: Y' = \frac{j\omega\pi a^2}{\gamma P_0}[1 + (\gamma - 1) F(r_t)],\quad
              r_t = r_v\sqrt{Pr}

    Parameters
    ----------
    frequency : array, Hz
    bulk_modulus : array, Pa
        Adiabatic, γ P₀.
    heat_capacity_ratio, prandtl : array, dimensionless
    density, viscosity, radius : array; kg/m³, Pa s, m

    Returns
    -------
    complex array, m²/(Pa s)

    Source
    ------
    As for :func:`series_impedance`.
    """
    omega = 2 * np.pi * frequency
    layer = layer_function(radius * np.sqrt(density * omega * prandtl / viscosity))
    area = np.pi * radius**2
    return 1j * omega * area / bulk_modulus * (1 + (heat_capacity_ratio - 1) * layer)


def layer_function(wave_number: FloatArray) -> ComplexArray:
    r"""Share of the section taken by a wall layer, ``F(r) = 2 J₁(z) / [z J₀(z)]``, z = r √−j.

    Full Bessel functions up to ``WIDE_TUBE``; above it the wide-tube series, Hankel's asymptotic
    expansion of the same ratio.

    Parameters
    ----------
    wave_number : array, dimensionless
        ``r = a √(ω/ν)`` or ``a √(ω/α)``. ``> 0``.

    Returns
    -------
    complex array, dimensionless
        Goes to 1 as ``r → 0`` and to 0 as ``r → ∞``.

    Check
    -----
    Against mpmath over 0.01 <= r <= 1000, both sides of the switch, in
    tests/models/test_viscothermal.py.
    """
    wide = wave_number >= WIDE_TUBE
    if np.all(wide):
        return _wide_series(wave_number)
    if not np.any(wide):
        return _bessel_ratio(wave_number)
    result = np.empty(wave_number.shape, dtype=np.complex128)
    result[wide] = _wide_series(wave_number[wide])
    result[~wide] = _bessel_ratio(wave_number[~wide])
    return result


def _wide_series(wave_number: FloatArray) -> ComplexArray:
    # With y = r √j, F = (2/y) I₁(y)/I₀(y), and the quotient of the two Hankel expansions is
    # 1 − s/2 − s²/8 − s³/8 − 25 s⁴/128 − 13 s⁵/32, s = 1/y.
    s = _ROOT_OF_MINUS_J / wave_number
    tail = -25 / 128 + s * (-13 / 32)
    tail = -1 / 8 + s * tail
    tail = -1 / 8 + s * tail
    tail = -1 / 2 + s * tail
    return 2 * s * (1 + s * tail)


def _bessel_ratio(wave_number: FloatArray) -> ComplexArray:
    # Imported here: scipy.special costs half a second, and only narrow tubes need it.
    from scipy import special

    scaled = cast("Callable[[int, ComplexArray], ComplexArray]", vars(special)["ive"])
    y = wave_number / _ROOT_OF_MINUS_J
    return 2 * scaled(1, y) / (y * scaled(0, y))
