"""Resonances of a closed duct, and the estimates that people set beside them.

A resonance is a frequency at which the reactance at the mouth, mouth inertance included, passes
zero while rising: there the branch short-circuits the main pipe.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from warmbranch import core
from warmbranch.base import stopping
from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.core import calls
from warmbranch.gas.gas import MixtureTable
from warmbranch.sound import acoustics, damped
from warmbranch.sound.acoustics import Duct, input_impedance, uniform_duct, uniform_tube
from warmbranch.sound.phases import mode_angle, reflection_phase

MODES = 3
"""Resonances reported."""

MOST_SEARCH_STEPS = 40

COARSE = (1e-3, 0.5, MOST_SEARCH_STEPS)
"""First search: tolerance; a step may halve a frequency or triple it."""

FINE = (1e-8, 0.25, MOST_SEARCH_STEPS)
"""Second search. The secant method being superlinear, what the tolerance leaves is some thousand
times smaller. A zero farther than a quarter from the first search's is not that mode's."""

AIR_SOUND_SPEED = 343.2
"""m/s in dry air at ``AIR_REFERENCE``. ISO 9613-1:1993."""

AIR_REFERENCE = 293.15
"""K."""


def resonances(duct: Duct, modes: int = MODES) -> tuple[FloatArray, FloatArray]:
    """First resonances and their quality factors.

    Parameters
    ----------
    duct : Duct
    modes : int
        How many, up to ``MODES``.

    Returns
    -------
    frequency : (designs, modes) array, Hz
        Rising along each row, NaN last: wall losses can leave a mode no rising zero of the
        reactance, or a resistance there that exceeds the characteristic impedance.
    quality_factor : (designs, modes) array, dimensionless

    Notes
    -----
    A mode more or less changes no other: where one of the first has no resonance, the next ones
    move up, and are sought for that design even if fewer were asked for.

    Two secant searches. The first follows ``phases.mode_angle``, which rises steadily with
    frequency and knows its mode, so that none is missed or told twice; without losses its root
    is the resonance. The second, from there, finds the zero of the whole reactance.
    """
    compiled = core.at_hand()
    if compiled is not None:
        frequency, quality = calls.resonances(compiled, duct, modes, COARSE, FINE)
        stopping.check()
    else:
        frequency, quality = _in_order(*_of_modes(duct, modes))
        lacking: BoolArray = np.any(np.isnan(frequency), axis=1)
        if modes < MODES and np.any(lacking):
            others = _in_order(*_of_modes(duct.take(lacking), MODES))
            frequency[lacking], quality[lacking] = (value[:, :modes] for value in others)
    damped.look_again(duct, frequency, quality)
    return frequency, quality


def _in_order(frequency: FloatArray, quality: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rising, without the frequencies that are no resonance; NaN last."""
    frequency = np.where(np.isnan(quality), np.nan, frequency)
    if frequency.shape[1] == 1:
        return frequency, quality
    rising = np.argsort(frequency, axis=1)
    return np.take_along_axis(frequency, rising, 1), np.take_along_axis(quality, rising, 1)


def _of_modes(duct: Duct, modes: int) -> tuple[FloatArray, FloatArray]:
    """A zero of the reactance for each mode, Hz, and its quality factor."""
    reference = duct.mouth_impedance[:, None]
    time = duct.transit_time + duct.mouth_inertance / duct.mouth_impedance
    mode = np.arange(modes)
    start = (2 * mode + 1) / (4 * time)[:, None]
    slope = 2 * np.pi * time

    def angle(frequency: FloatArray) -> FloatArray:
        tube, travelled = acoustics.tube_impedance(duct, frequency)
        inertia = duct.mouth_reactance(frequency)
        return mode_angle(tube, travelled, inertia, reference) - mode * np.pi

    near = _near_modes(angle, start, slope[:, None] * np.ones_like(start))
    found = _polished(duct, near, reference + np.abs(duct.mouth_reactance(near)))
    return found, damped.quality_factors(duct, found)


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

    log_start = np.log(start)
    compiled = core.at_hand()
    if compiled is not None:
        log_found = calls.effective_temperatures(
            compiled, duct, gas, pressure, known[:, 0], log_start, FINE
        )
        stopping.check()
        return np.where(np.isnan(frequency), np.nan, np.exp(log_found))

    straight = (duct.inertance_ratio == 1).all() and (duct.area_ratio == 1).all()

    def phase(log_temperature: FloatArray) -> FloatArray:
        temperature = np.exp(log_temperature[:, 0])
        if straight:
            return reflection_phase(*uniform_tube(duct, gas, temperature, pressure, known))
        filled = uniform_duct(duct, gas, temperature, pressure)
        reference = filled.mouth_impedance[:, None]
        return reflection_phase(input_impedance(filled, known), reference)

    tolerance, longest, _ = FINE
    column = log_start[:, None]
    # The phase goes as −ωL/c, and c as the root of T.
    rise = np.full_like(column, np.pi / 2)
    found = _secant(phase, column, phase(column), rise, tolerance, longest * column)[:, 0]
    return np.where(np.isnan(frequency), np.nan, np.exp(found))


def transit_time_estimate(duct: Duct) -> FloatArray:
    """``f = 1/(4 ∫dx/c)``, Hz: always low for a hot mouth and a cold cap. No mouth correction."""
    return 1 / (4 * duct.transit_time)


def one_temperature_estimate(length: FloatArray, gas_temperature: FloatArray) -> FloatArray:
    """``f = c/(4L)``, Hz, with c of dry air at the main gas temperature.

    Common practice, no source; sound speed of air ``343.2 √(T/293.15)`` after ISO 9613-1:1993.
    """
    return AIR_SOUND_SPEED * np.sqrt(gas_temperature / AIR_REFERENCE) / (4 * length)


def _near_modes(
    angle: Callable[[FloatArray], FloatArray], start: FloatArray, slope: FloatArray
) -> FloatArray:
    """First search: which mode, and about where; NaN where ``MOST_SEARCH_STEPS`` do not suffice."""
    tolerance, longest, most = COARSE
    here, rise, value = start, slope, angle(start)
    found = np.full_like(start, np.nan)
    for _ in range(most):
        stopping.check()
        step = np.minimum(np.maximum(-value / rise, -longest * here), here / longest)
        here = here + step
        met = (np.abs(step) <= tolerance * here) & np.isnan(found)
        found = np.where(met, here, found)
        if not np.isnan(found).any():
            break
        new = angle(here)
        rise = _next_slope(rise, new - value, step)
        value = new
    return found


def _polished(duct: Duct, start: FloatArray, reference: FloatArray) -> FloatArray:
    """Second search: the zero of the whole reactance next to ``start``; NaN where none is."""
    tolerance, longest, _ = FINE
    known = np.where(np.isnan(start), 1 / duct.transit_time[:, None], start)
    reference = np.where(np.isnan(reference), duct.mouth_impedance[:, None], reference)

    def phase(frequency: FloatArray) -> FloatArray:
        return reflection_phase(input_impedance(duct, frequency), reference)

    nearby, modes = known * (1 + longest / 16), known.shape[1]
    # Both at once: on one design the number of operations is what costs.
    both = input_impedance(duct, np.concatenate([known, nearby], axis=1))
    value, beyond = (
        reflection_phase(half, reference) for half in (both[:, :modes], both[:, modes:])
    )
    slope = (beyond - value) / (nearby - known)
    found = _secant(phase, known, value, slope, tolerance, longest * known)
    return np.where(np.isnan(start), np.nan, found)


def _secant(
    function: Callable[[FloatArray], FloatArray],
    start: FloatArray,
    value: FloatArray,
    slope: FloatArray,
    tolerance: float,
    farthest: FloatArray,
) -> FloatArray:
    """Roots of many near-linear functions, none farther than ``farthest`` from its start."""
    here, found = start, np.full_like(start, np.nan)
    lost = np.zeros(start.shape, dtype=np.bool_)
    for _ in range(MOST_SEARCH_STEPS):
        stopping.check()
        step = np.minimum(np.maximum(-value / slope, -farthest), farthest)
        here = here + step
        met = (np.abs(step) <= tolerance * np.abs(here)) & np.isnan(found) & ~lost
        found = np.where(met, here, found)
        lost |= np.abs(here - start) > farthest
        here = np.where(lost, start, here)
        if not (np.isnan(found) & ~lost).any():
            break
        new = function(here)
        slope = _next_slope(slope, new - value, step)
        value = new
    return found


def _next_slope(slope: FloatArray, change: FloatArray, step: FloatArray) -> FloatArray:
    """The secant's slope where it can be trusted, else the old one."""
    ratio = np.divide(change, step * slope, out=np.zeros_like(step), where=step != 0)
    return np.where((ratio > 0.2) & (ratio < 5), ratio * slope, slope)
