"""Axial mixing of the gas in the dead end, as an effective diffusivity.

``D_mix = C_m U d exp[−(x/(Λ d))^s]  +  C_p ω ξ(x)²  +  D_b``

with ``C_p`` that of the laminar layers at the wall unless it is given, and ``D_b`` by buoyancy: see
counterflow.py.

The main flow stirs the mouth, pulsation shuttles gas to and fro. All coefficients are assumptions
(see closures.py): no open measurement of a dead-end exhaust branch was found.
"""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray

DEEPEST = 100.0
"""Foldings of the decay beyond which stirring is nothing, and still a number."""


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
