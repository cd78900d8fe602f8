"""Phases that turn a duct's impedance into functions with well-behaved roots.

The same in C: core/resonance.c.
"""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import ComplexArray, FloatArray


def reflection_phase(impedance: ComplexArray, reference: FloatArray) -> FloatArray:
    """Phase of ``−(Z − Z₀)/(Z + Z₀)``, rad: zero where the reactance is, and R below Z₀."""
    return np.angle((reference - impedance) / (reference + impedance))


def mode_angle(
    tube: ComplexArray, travelled: FloatArray, inertia: FloatArray, reference: FloatArray
) -> FloatArray:
    r"""Angle that a mode's resonance brings to a whole multiple of π, rad.

    A closed tube without losses has ``Z = −j Z₀ cot θ``; with an inertance at its mouth it
    resonates where :math:`\theta = \operatorname{arccot}(\omega L/Z_0) + (n - 1)\pi`. The left
    side less the arccot rises steadily with frequency, and is told which turn it is in by the
    phase travelled along the tube, so that no mode is mistaken for another.

    Parameters
    ----------
    tube : complex array, Pa s/m³
        Impedance at the mouth without the mouth's inertance.
    travelled : array, rad
        Sum of the local phases from mouth to cap; it need only be right within π/2.
    inertia : array, Pa s/m³
        ω L of the mouth.
    reference : array, Pa s/m³
        Z₀.
    """
    principal = -0.5 * np.angle((tube - reference) / (tube + reference))
    turns = np.floor((travelled - principal) / np.pi + 0.5)
    return principal + np.pi * turns - np.arctan2(reference, inertia)
