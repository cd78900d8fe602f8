"""Resonances of a closed duct, and the estimates that people set beside them.

A resonance is a frequency at which the reactance at the mouth, mouth inertance included, passes
zero while rising: there the branch short-circuits the main pipe.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from warmbranch.acoustics import Duct, input_impedance, uniform_duct
from warmbranch.batch import ComplexArray, FloatArray
from warmbranch.gas import MixtureTable

MODES = 3
"""Resonances reported."""

ROOT_TOLERANCE = 1e-11
"""Relative change of a frequency at which its search ends."""

MOST_STEPS = 40

AIR_SOUND_SPEED = 343.2
"""m/s in dry air at ``AIR_REFERENCE``. ISO 9613-1:1993."""

AIR_REFERENCE = 293.15
"""K."""


def resonances(duct: Duct) -> FloatArray:
    """First resonances.

    Parameters
    ----------
    duct : Duct

    Returns
    -------
    (designs, MODES) array, Hz
        Rising along each row. NaN where wall losses leave the reactance no rising zero.

    Notes
    -----
    The search follows the phase of ``−(Z − Z₀)/(Z + Z₀)``, Z₀ being the mouth's characteristic
    impedance: it is zero at a resonance and falls almost evenly with frequency, so that secant
    steps from the transit-time estimate cannot reach a neighbouring resonance.
    """
    order = 2 * np.arange(MODES) + 1
    inertia_time = duct.mouth_inertance / duct.mouth_impedance
    start = order / (4 * (duct.transit_time + inertia_time))[:, None]
    reference = duct.mouth_impedance[:, None]
    slope = -4 * np.pi * (duct.transit_time + inertia_time)[:, None] * np.ones_like(start)

    def phase(frequency: FloatArray) -> FloatArray:
        return _reflection_phase(input_impedance(duct, frequency), reference)

    found = _secant(phase, start, slope)
    reactance_slope, resistance, _ = _slope_at(duct, found)
    with np.errstate(invalid="ignore"):
        proper = (reactance_slope > 0) & (resistance < reference)
    return np.where(proper, found, np.nan)


def quality_factor(duct: Duct, frequency: FloatArray) -> FloatArray:
    r"""Quality factor of a resonance, ``Q = ω (dX/dω) / (2 R)``.

    Parameters
    ----------
    duct : Duct
    frequency : (designs,) array, Hz
        A resonance.

    Returns
    -------
    (designs,) array, dimensionless
        Infinite without losses; NaN where ``frequency`` is.

    Check
    -----
    Uniform tube: ``Q = π / (4 α L)`` for small losses, in tests/models/test_resonance.py.
    """
    slope, resistance, lossless = _slope_at(duct, frequency[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        quality = frequency[:, None] * slope / (2 * resistance)
    return np.where(lossless, np.inf, quality)[:, 0]


def effective_temperature(
    duct: Duct, gas: MixtureTable, pressure: FloatArray, frequency: FloatArray, start: FloatArray
) -> FloatArray:
    """The one temperature at which the same branch, same gas, would resonate at ``frequency``.

    Parameters
    ----------
    duct : Duct
        Gives lengths, bends, mouth inertance and whether the wall is lossy.
    gas : MixtureTable
    pressure, frequency, start : (designs,) array; Pa, Hz, K
        ``start`` is a first guess.

    Returns
    -------
    (designs,) array, K
        NaN where ``frequency`` is.
    """
    known = np.where(np.isnan(frequency), 1 / (4 * duct.transit_time), frequency)[:, None]

    def phase(log_temperature: FloatArray) -> FloatArray:
        filled = uniform_duct(duct, gas, np.exp(log_temperature[:, 0]), pressure)
        reference = filled.mouth_impedance[:, None]
        return _reflection_phase(input_impedance(filled, known), reference)

    # The phase goes as −ωL/c, and c as the root of T.
    slope = np.full((len(duct), 1), np.pi / 2)
    found = np.exp(_secant(phase, np.log(start)[:, None], slope))[:, 0]
    return np.where(np.isnan(frequency), np.nan, found)


def transit_time_estimate(duct: Duct) -> FloatArray:
    """``f = 1/(4 ∫dx/c)``, Hz: always low for a hot mouth and a cold cap. No mouth correction."""
    return 1 / (4 * duct.transit_time)


def one_temperature_estimate(length: FloatArray, gas_temperature: FloatArray) -> FloatArray:
    """``f = c/(4L)``, Hz, with c of dry air at the main gas temperature.

    Common practice, no source; sound speed of air ``343.2 √(T/293.15)`` after ISO 9613-1:1993.
    """
    return AIR_SOUND_SPEED * np.sqrt(gas_temperature / AIR_REFERENCE) / (4 * length)


def _reflection_phase(impedance: ComplexArray, reference: FloatArray) -> FloatArray:
    return np.angle((reference - impedance) / (reference + impedance))


def _secant(
    function: Callable[[FloatArray], FloatArray], start: FloatArray, slope: FloatArray
) -> FloatArray:
    """Roots of many near-linear functions at once; NaN where ``MOST_STEPS`` do not suffice."""
    here, value = start, function(start)
    for _ in range(MOST_STEPS):
        # A phase near ±π has no use for the secant; a quarter of the start is the longest step.
        step = np.clip(-value / slope, -0.25 * np.abs(start), 0.25 * np.abs(start))
        there = here + step
        if np.all(np.abs(step) <= ROOT_TOLERANCE * np.abs(there)):
            return there
        new_value = function(there)
        with np.errstate(divide="ignore", invalid="ignore"):
            secant = (new_value - value) / step
            usable = np.isfinite(secant) & (secant / slope > 0.2) & (secant / slope < 5)
        slope = np.where(usable, secant, slope)
        here, value = there, new_value
    done = np.abs(value / slope) <= ROOT_TOLERANCE * np.abs(here)
    return np.where(done, here, np.nan)


def _slope_at(duct: Duct, frequency: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """``dX/df``, ``R`` and whether the duct is lossless, at (designs, n) frequencies.

    A central difference of relative step 1e-4: its error, some 1e-8, is far below the meaning
    of a quality factor.
    """
    step = 1e-4
    n = frequency.shape[1]
    known = np.where(np.isnan(frequency), 1 / (4 * duct.transit_time)[:, None], frequency)
    around = np.hstack([known * (1 - step), known, known * (1 + step)])
    impedance = input_impedance(duct, around)
    slope = (impedance[:, 2 * n :].imag - impedance[:, :n].imag) / (2 * step * known)
    lossless = ~np.broadcast_to(duct.wall_losses[:, None], frequency.shape)
    known_only = np.where(np.isnan(frequency), np.nan, 1.0)
    return slope * known_only, impedance[:, n : 2 * n].real * known_only, lossless
