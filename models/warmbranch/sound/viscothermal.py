"""Sound in a round tube with a viscous and a thermal layer at its wall.

Time convention ``e^{+jωt}``; ``x`` from mouth to cap; ``U`` is volume velocity towards the cap:
``p' = −Z'(x) U``, ``U' = −Y'(x) p``. The real parts of Z' and Y' are then positive for a tube that
absorbs sound.
"""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import BoolArray, ComplexArray, FloatArray

WIDE_TUBE = 25.0
"""Shear wave number from which the wide-tube series is used; its last term is then below 1e-8."""

HIGHEST_ORDER = 60
"""Where the backward recurrence of the Bessel ratio starts; ample below ``WIDE_TUBE``."""

_ROOT_OF_MINUS_J = np.exp(-0.25j * np.pi)


def wall_layers(
    density: FloatArray,
    viscosity: FloatArray,
    prandtl: FloatArray,
    radius: FloatArray,
    lossy: BoolArray,
) -> FloatArray:
    """Thickness of the viscous and the thermal layer at 1 Hz, over the radius.

    Parameters
    ----------
    density, viscosity, prandtl, radius : array; kg/m³, Pa s, dimensionless, m
        All broadcast.
    lossy : array of bool
        Where false, the layers have no thickness and the tube no losses.

    Returns
    -------
    (2, ...) array, √Hz
        ``1/r_v`` and ``1/r_t`` at 1 Hz, the inverse shear and thermal wave numbers
        ``r_v = a √(ρω/μ)``, ``r_t = r_v √Pr``.
    """
    viscous = np.sqrt(viscosity / (2 * np.pi * density)) / radius * lossy
    return np.array([viscous, viscous / np.sqrt(prandtl)])


def line(
    frequency: FloatArray,
    density: FloatArray,
    bulk_modulus: FloatArray,
    layers: FloatArray,
    thermal: FloatArray,
    radius: FloatArray,
) -> tuple[ComplexArray, ComplexArray]:
    r"""Impedance and admittance per length of a tube with wall layers.

    .. math:: Z' = \frac{j\omega\rho}{S [1 - F(r_v)]},\quad
              Y' = \frac{j\omega S}{\gamma P_0} [1 + (\gamma - 1) F(r_t)]

    Parameters
    ----------
    frequency : array, Hz
        ``> 0``. All arguments broadcast.
    density, bulk_modulus : array; kg/m³, Pa
        The bulk modulus is adiabatic, γ P₀.
    layers : (2, ...) array, √Hz
        From :func:`wall_layers`.
    thermal : array, dimensionless
        γ − 1.
    radius : array, m

    Returns
    -------
    two complex arrays; Pa s/m⁴ and m²/(Pa s)

    Valid for
    ---------
    Plane waves, laminar layers, any wave number.

    Check
    -----
    Vectors computed by mpmath, in tests/models/sound/test_viscothermal.py.

    Source
    ------
    Zwikker & Kosten, Sound Absorbing Materials (1949); Tijdeman, J. Sound Vib. 39 (1975) 1.
    """
    viscous, heat = layer_function(layers / np.sqrt(frequency))
    j_omega = 2j * np.pi * frequency
    area = np.pi * radius**2
    impedance = j_omega * (density / area) / (1 - viscous)
    admittance = j_omega * (area / bulk_modulus) * (1 + thermal * heat)
    return impedance, admittance


def layer_function(inverse: FloatArray) -> ComplexArray:
    r"""Share of the section taken by a wall layer, ``F(r) = 2 J₁(z) / [z J₀(z)]``, z = r √−j.

    Full Bessel functions up to ``WIDE_TUBE``; above it the wide-tube series, Hankel's asymptotic
    expansion of the same ratio.

    Parameters
    ----------
    inverse : array, dimensionless
        ``1/r``, with ``r = a √(ω/ν)`` or ``a √(ω/α)``. ``>= 0``.

    Returns
    -------
    complex array, dimensionless
        0 for ``1/r = 0``; goes to 1 as ``1/r`` grows without bound.

    Check
    -----
    Against mpmath over 0.01 <= r <= 1000, both sides of the switch, in
    tests/models/sound/test_viscothermal.py.
    """
    wide = inverse <= 1 / WIDE_TUBE
    if wide.all():
        return wide_series(inverse)
    result = np.empty(inverse.shape, dtype=np.complex128)
    result[wide] = wide_series(inverse[wide])
    result[~wide] = bessel_ratio(inverse[~wide])
    return result


def wide_series(inverse: FloatArray) -> ComplexArray:
    """The wide-tube series of :func:`layer_function`."""
    # With y = r √j, F = (2/y) I₁(y)/I₀(y), and the quotient of the two Hankel expansions is
    # 1 − s/2 − s²/8 − s³/8 − 25 s⁴/128 − 13 s⁵/32, s = 1/y.
    s = _ROOT_OF_MINUS_J * inverse
    tail = s * (-25 / 128 - 13 / 32 * s)
    tail = s * (tail - 1 / 8)
    tail = s * (tail - 1 / 8)
    tail = s * (tail - 1 / 2)
    return 2 * s * (1 + tail)


def bessel_ratio(inverse: FloatArray) -> ComplexArray:
    """The full Bessel functions of :func:`layer_function`.

    ``I₁(y)/I₀(y)`` with y = r √j, by the backward recurrence ``Iₙ/Iₙ₋₁ = 1/(2n/y + Iₙ₊₁/Iₙ)``,
    which forgets where it starts.
    """
    y = 1 / (_ROOT_OF_MINUS_J * inverse)
    ratio = y / (2 * HIGHEST_ORDER)
    for order in range(HIGHEST_ORDER - 1, 0, -1):
        ratio = 1 / (2 * order / y + ratio)
    return 2 * ratio / y
