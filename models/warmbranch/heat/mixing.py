"""Axial mixing of the gas in the dead end, as an effective diffusivity.

``D_mix = C_m U d exp[−(x/(Λ d))^s]  +  C_p ω ξ(x)²  +  D_b``

with ``C_p`` that of the laminar layers at the wall unless it is given.

The main flow stirs the mouth, pulsation shuttles gas to and fro, and buoyancy drives a
counterflow that depends on how steeply the branch rises. All coefficients are engineering
assumptions (see closures.py): no open measurement of a dead-end exhaust branch was found.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import GRAVITY

ISOTHERMAL_PERIMETER = 1 / 23040
"""Coefficient of the level counterflow, the wall being at one temperature round the perimeter.

Parallel-flow solution in a circular pipe in the manner of Bejan & Tien, Int. J. Heat Mass
Transfer 21 (1978) 701; 7/46080 for an adiabatic wall. Derived, see
tests/models/heat/test_mixing.py.
"""

GENTLE_GRADIENT = 10.0
"""K/m. Below it the buoyant part fades, smoothly to the first derivative: a gradient so gentle
moves neither heat nor resonance to speak of, and Newton's method needs no kink there."""

DEEPEST = 100.0
"""Foldings of the decay beyond which stirring is nothing, and still a number."""

_TINY = 1e-300
"""Keeps nothing over nothing at nothing."""


class Diffusivity(NamedTuple):
    """A diffusivity and how it answers to the profile; each (designs, faces)."""

    value: FloatArray
    gradient_slope: FloatArray
    temperature_slope: FloatArray


def stirred_mouth(
    x: FloatArray,
    bore: FloatArray,
    speed: FloatArray,
    stirring: FloatArray,
    reach: FloatArray,
    sharpness: FloatArray | None = None,
) -> FloatArray:
    """Mixing by the main flow that grazes the mouth, ``C_m U d exp[−(x/(Λ d))^s]``, m²/s.

    Parameters
    ----------
    x : (designs, n) array, m
    bore, speed, stirring, reach : (designs,) array
        m, m/s, dimensionless, bores.
    sharpness : (designs,) array, dimensionless, optional
        ``s``; 1 unless given.

    Valid for
    ---------
    An assumption: penetration grows with main flow and bore and decays over some bores, as
    closed-branch experiments in water and air show; the coefficients are wide priors.
    """
    bore = bore[:, None]
    depth = x / (reach[:, None] * bore)
    if sharpness is not None and np.any(sharpness != 1):
        with np.errstate(divide="ignore"):  # at the mouth itself
            power = sharpness[:, None] * np.log(depth)
        depth = np.exp(np.minimum(power, np.log(DEEPEST)))
    decay = np.exp(-np.minimum(depth, DEEPEST))
    return stirring[:, None] * speed[:, None] * bore * decay


def pulsation(displacement: FloatArray, frequency: FloatArray, strength: FloatArray) -> FloatArray:
    """Mixing by gas that shuttles to and fro, ``C_p ω ξ²``, m²/s.

    Parameters
    ----------
    displacement : (designs, n) array, m
        Amplitude ξ of the section-mean displacement.
    frequency : (designs,) array, Hz
    strength : (designs, n) array, dimensionless
        Or (designs, 1).
    """
    return strength * 2 * np.pi * frequency[:, None] * displacement**2


def laminar_pulsation(
    kinematic_viscosity: FloatArray, prandtl: FloatArray, frequency: FloatArray, bore: FloatArray
) -> FloatArray:
    r"""``C_p`` of laminar layers that are thin over the bore.

    .. math:: C_p = \frac{\delta}{2 a}\,
              \frac{1 + \sqrt{Pr} + Pr}{\sqrt{Pr} (1 + \sqrt{Pr}) (1 + Pr)},
              \quad \delta = \sqrt{2\nu/\omega}

    Parameters
    ----------
    kinematic_viscosity, prandtl : (designs, n) array
        m²/s, dimensionless.
    frequency, bore : (designs,) array
        Hz, m.

    Valid for
    ---------
    Laminar layers thinner than a tenth of the radius, and a metal wall that keeps its temperature
    through a period: within 5 % there. Dispersion in oscillating flow after Watson, J. Fluid Mech.
    133 (1983) 233; the formula with heat exchanged with the wall is derived by us.

    Check
    -----
    Against the exact one with Bessel functions, in tests/models/heat/test_mixing.py.
    """
    root = np.sqrt(prandtl)
    layer = np.sqrt(kinematic_viscosity / (np.pi * frequency[:, None])) / (bore[:, None] / 2)
    return layer / 2 * (1 + root + prandtl) / (root * (1 + root) * (1 + prandtl))


def buoyant_counterflow(
    temperature: FloatArray,
    gradient: FloatArray,
    kinematic_viscosity: FloatArray,
    thermal_diffusivity: FloatArray,
    property_slope: FloatArray,
    bore: FloatArray,
    rise: FloatArray,
    strength: FloatArray,
) -> Diffusivity:
    r"""Mixing by buoyant counterflow.

    Level part: the slower of the viscous parallel flow, :math:`\alpha Ra_g^2/23040` with
    :math:`Ra_g = g\beta|T'|a^4/(\nu\alpha)`, and the inertial scale :math:`d^2\sqrt{g\beta|T'|}`,
    joined harmonically, with the component of gravity across the branch. Steep part: where the
    gas is hotter below than above, :math:`d^2\sqrt{g\beta|T'|}` with the component along the
    branch; where it is hotter above, nothing.

    Parameters
    ----------
    temperature, gradient : (designs, faces) array, K and K/m
    kinematic_viscosity, thermal_diffusivity : (designs, faces) array, m²/s
    property_slope : (designs, faces) array, 1/K
        Slope of ``ln[1/(ν² α)]`` with temperature.
    bore, rise, strength : (designs,) array; m, rad, dimensionless
        The bore also (designs, faces).

    Returns
    -------
    Diffusivity
        m²/s, m³/(s K) with respect to the gradient, m²/(s K) with respect to temperature.

    Valid for
    ---------
    An order-of-magnitude assumption. Free-fall mixing length after Cholemari & Arakeri,
    J. Fluid Mech. 621 (2009) 69, coefficient of order one, from memory.
    """
    value, by_gradient, by_temperature = counterflow(
        temperature,
        gradient,
        kinematic_viscosity,
        thermal_diffusivity,
        property_slope,
        bore if bore.ndim == 2 else bore[:, None],
        rise[:, None],
    )
    strength = strength[:, None]
    return Diffusivity(strength * value, strength * by_gradient, strength * by_temperature)


def counterflow(
    temperature: FloatArray,
    gradient: FloatArray,
    kinematic_viscosity: FloatArray,
    thermal_diffusivity: FloatArray,
    property_slope: FloatArray,
    bore: FloatArray,
    rise: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """:func:`buoyant_counterflow` element by element: value, slope in T', slope in T.

    The same in C: core/heat_balance.c.
    """
    across = GRAVITY * np.cos(rise) / temperature
    along = GRAVITY * np.abs(np.sin(rise)) / temperature

    size, size_slope = smooth_size(gradient)
    speed = np.maximum(across, 0.0) * size
    half_bore_squared = np.square(0.5 * bore)
    rayleigh = speed * np.square(half_bore_squared) / kinematic_viscosity
    viscous = ISOTHERMAL_PERIMETER * np.square(rayleigh) / thermal_diffusivity
    inertial = 4 * half_bore_squared * np.sqrt(speed)
    share = inertial / (viscous + inertial + _TINY)  # of the viscous part in the harmonic mean
    level = viscous * share
    level_gradient = level * (0.5 + 1.5 * share) * size_slope / (size + _TINY)
    level_temperature = level * (
        share * (property_slope - 2 / temperature) - (1 - share) * 0.5 / temperature
    )

    if not rise.any():
        return level, level_gradient, level_temperature
    towards = -np.sign(rise)
    up, up_slope = smooth_size(np.maximum(gradient * towards, 0.0))
    steep = 4 * half_bore_squared * np.sqrt(along * up)
    steep_gradient = towards * 0.5 * steep * up_slope / (up + _TINY)
    steep_temperature = -0.5 * steep / temperature
    return level + steep, level_gradient + steep_gradient, level_temperature + steep_temperature


def smooth_size(gradient: FloatArray) -> tuple[FloatArray, FloatArray]:
    """``g⁴/(g² + g0²)^{3/2}``, the size of a gradient with a smooth foot, and its slope."""
    squared = np.square(gradient)
    whole = squared + GENTLE_GRADIENT**2
    root = np.sqrt(whole)
    size = np.square(squared) / (whole * root)
    slope = gradient * squared * (squared + 4 * GENTLE_GRADIENT**2) / (np.square(whole) * root)
    return size, slope
