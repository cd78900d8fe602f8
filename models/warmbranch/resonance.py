"""Resonances of a closed duct, and the estimates that people set beside them.

A resonance is a frequency at which the reactance at the mouth, mouth inertance included, passes
zero while rising: there the branch short-circuits the main pipe.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from warmbranch import kernel
from warmbranch.acoustics import Duct, input_impedance, uniform_duct
from warmbranch.batch import ComplexArray, FloatArray
from warmbranch.gas import MixtureTable

MODES = 3
"""Resonances reported."""

ROOT_TOLERANCE = 1e-8
"""Relative change at which a search ends. The secant method being superlinear, what is then left
is some thousand times smaller."""

LONGEST_STEP = 0.25
"""Of a search, over its start: a phase near ±π has no use for the secant."""

MOST_STEPS = 40

SEARCH = (ROOT_TOLERANCE, LONGEST_STEP, MOST_STEPS)

AIR_SOUND_SPEED = 343.2
"""m/s in dry air at ``AIR_REFERENCE``. ISO 9613-1:1993."""

AIR_REFERENCE = 293.15
"""K."""


def resonances(duct: Duct) -> tuple[FloatArray, FloatArray]:
    """First resonances and their quality factors.

    Parameters
    ----------
    duct : Duct

    Returns
    -------
    frequency : (designs, MODES) array, Hz
        Rising along each row. NaN where wall losses leave the reactance no rising zero.
    quality_factor : (designs, MODES) array, dimensionless

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

    compiled = kernel.at_hand(len(duct))
    if compiled is not None:
        found = kernel.resonances(compiled, duct, start, slope, SEARCH)
    else:
        found = _secant(phase, start, slope)
    quality = quality_factors(duct, found)
    return np.where(np.isnan(quality), np.nan, found), quality


def quality_factors(duct: Duct, frequency: FloatArray) -> FloatArray:
    r"""Quality factors of resonances, ``Q = ω (dX/dω) / (2 R)``.

    Parameters
    ----------
    duct : Duct
    frequency : (designs, n) array, Hz
        Zeros of the reactance.

    Returns
    -------
    (designs, n) array, dimensionless
        Infinite without losses. NaN where ``frequency`` is, and where the reactance falls or the
        resistance exceeds the characteristic impedance: that is no resonance.

    Check
    -----
    Uniform tube: ``Q = π / (4 α L)`` for small losses, in tests/models/test_resonance.py.

    Notes
    -----
    The slope is a central difference of relative step 1e-4; its error, some 1e-8, is far below
    the meaning of a quality factor.
    """
    step = 1e-4
    n = frequency.shape[1]
    around = np.concatenate([frequency * (1 - step), frequency, frequency * (1 + step)], axis=1)
    impedance = input_impedance(duct, np.where(np.isnan(around), 1.0, around))
    rise = (impedance[:, 2 * n :].imag - impedance[:, :n].imag) / (2 * step)
    resistance = impedance[:, n : 2 * n].real
    proper = (rise > 0) & (resistance < duct.mouth_impedance[:, None]) & ~np.isnan(frequency)
    with np.errstate(divide="ignore", invalid="ignore"):
        quality = np.where(duct.wall_losses[:, None], rise / (2 * resistance), np.inf)
    return np.where(proper, quality, np.nan)


def effective_temperature(
    duct: Duct, gas: MixtureTable, pressure: FloatArray, frequency: FloatArray
) -> FloatArray:
    """The one temperature at which the same branch, same gas, would resonate at ``frequency``.

    Parameters
    ----------
    duct : Duct
        Gives lengths, bends, mouth inertance and whether the wall is lossy.
    gas : MixtureTable
    pressure, frequency : (designs,) array; Pa, Hz

    Returns
    -------
    (designs,) array, K
        NaN where ``frequency`` is.
    """
    transit = transit_time_estimate(duct)
    known = np.where(np.isnan(frequency), transit, frequency)[:, None]
    # Gas of the mean transit time, corrected for how far the resonance lies from its estimate.
    mean_density = (
        np.square(duct.transit_time / duct.cell_length.sum(axis=1)) * duct.bulk_modulus[:, 0]
    )
    start = pressure / (mean_density * gas.gas_constant) * np.square(known[:, 0] / transit)

    def phase(log_temperature: FloatArray) -> FloatArray:
        filled = uniform_duct(duct, gas, np.exp(log_temperature[:, 0]), pressure)
        reference = filled.mouth_impedance[:, None]
        return _reflection_phase(input_impedance(filled, known), reference)

    compiled = kernel.at_hand(len(duct))
    if compiled is not None:
        found = kernel.effective_temperatures(
            compiled, duct, gas, pressure, known[:, 0], np.log(start), SEARCH
        )
    else:
        # The phase goes as −ωL/c, and c as the root of T.
        found = _secant(phase, np.log(start)[:, None], np.full((len(duct), 1), np.pi / 2))[:, 0]
    return np.where(np.isnan(frequency), np.nan, np.exp(found))


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
        longest = LONGEST_STEP * np.abs(start)
        step = np.clip(-value / slope, -longest, longest)
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
