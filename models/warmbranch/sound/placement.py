"""Where on the main pipe a branch works, the open end and the pipe ahead reflecting sound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import ComplexArray, FloatArray
from warmbranch.sound.tail import MainRun, view

NEAR_NODE = float(np.sin(np.pi / 12))
"""Sound pressure, over the greatest along the pipe, below which a place counts as a node: within a
twenty-fourth of a wavelength of it, where a branch meets 7 % of the power."""

BAND = 0.05
"""Half width, relative, of the band around the tone over which places are compared: engine speed
wanders, and a place is no good if it serves one tone alone."""

BAND_TONES = 21

STEPS_A_WAVE = 48
"""Positions looked at in a wavelength."""

FEWEST_STEPS = 48

BEST_PLACES = 3

STRAY = 1.0
"""dB. Loss given away within the range told around a better place."""


class PipePlace(NamedTuple):
    """One row of a :class:`Sweep`."""

    position: float
    tone: float
    band: float
    pressure: float

    @property
    def near_node(self) -> bool:
        """Whether the branch hardly meets the tone there."""
        return self.pressure < NEAR_NODE


@dataclass(frozen=True)
class Sweep:
    """What the branch does at each place.

    Parameters
    ----------
    position : (n,) array, m
        From the open end.
    tone : (n,) array, dB
        Insertion loss at the tone itself.
    band : (n,) array, dB
        Mean over the band: of the power left, in decibels.
    pressure : (n,) array, dimensionless
        Standing wave of the tone without the branch, over its greatest.
    """

    position: FloatArray
    tone: FloatArray
    band: FloatArray
    pressure: FloatArray

    def at(self, position: float) -> PipePlace:
        """What it does at one place, interpolated."""
        tone, band, pressure = (
            float(np.interp(position, self.position, values))
            for values in (self.tone, self.band, self.pressure)
        )
        return PipePlace(position, tone, band, pressure)


def insertion_loss(
    branch: ComplexArray, towards_source: ComplexArray, towards_tail: ComplexArray
) -> FloatArray:
    r"""Insertion loss of a branch between a source and a tail that reflect, dB.

    .. math:: IL = 20\log_{10}\left|1 + \frac{1}{Z_b}\,\frac{Z_u Z_d}{Z_u + Z_d}\right|

    Parameters
    ----------
    branch, towards_source, towards_tail : complex array, Pa s/m³
        Impedances at the junction; broadcast.

    Returns
    -------
    array, dB
        Negative where the branch makes the tone louder.

    Valid for
    ---------
    Plane waves. The source keeps its strength and its impedance.

    Check
    -----
    The transmission loss where both pipes do not reflect; nothing where either is a pressure
    node. tests/models/sound/test_placement.py.

    Source
    ------
    Munjal, Acoustics of Ducts and Mufflers; formula from memory and derived.
    """
    shut = np.isinf(towards_source)  # a closed end itself: only the tail counts there
    source = np.where(shut, 0, towards_source)
    both = np.where(shut, towards_tail, source * towards_tail / (source + towards_tail))
    return 20 * np.log10(np.abs(1 + both / branch))


def tones(frequency: float) -> FloatArray:
    """The tone and the band around it, Hz; the tone is in the middle."""
    return frequency * np.linspace(1 - BAND, 1 + BAND, BAND_TONES)


def positions(run: MainRun, frequency: float, also: FloatArray) -> FloatArray:
    """Places to look at: evenly along the pipe, and those asked for, m."""
    _, speed = run.state(np.array([0.0]))
    waves = run.length * frequency / float(speed[0])
    count = max(FEWEST_STEPS, int(np.ceil(STEPS_A_WAVE * waves)))
    even = np.linspace(0.0, run.length, count + 1)
    return np.unique(np.concatenate([even, also]))


def sweep(run: MainRun, branch: ComplexArray, tone: FloatArray, position: FloatArray) -> Sweep:
    """Move the branch along the main pipe.

    Parameters
    ----------
    run : MainRun
    branch : (tones,) complex array, Pa s/m³
        Input impedance of the branch, mouth included; it is taken along unchanged.
    tone : (tones,) array, Hz
        From :func:`tones`.
    position : (n,) array, m
        From the open end to the far end.

    Returns
    -------
    Sweep

    Valid for
    ---------
    As :func:`warmbranch.sound.tail.view`. That the gas at the mouth is hotter or colder elsewhere,
    which would change the right length, is left out.
    """
    seen = view(run, position, tone)
    loss = insertion_loss(branch, seen.towards_source, seen.towards_tail)
    middle = len(tone) // 2
    left = np.mean(10 ** (-loss / 10), axis=1)
    return Sweep(
        position=position,
        tone=loss[:, middle],
        band=-10 * np.log10(left),
        pressure=seen.pressure[:, middle],
    )


class BetterPlace(NamedTuple):
    """A place that is better than all around it, and how far one may stray from it."""

    place: PipePlace
    low: float
    high: float


def better_places(found: Sweep, low: float, high: float) -> list[BetterPlace]:
    """The best places within a stretch, best first, up to ``BEST_PLACES``.

    Parameters
    ----------
    found : Sweep
    low, high : float, m
        Ends of the stretch that is free, from the open end; both among the positions.

    Returns
    -------
    list of BetterPlace
        Places where the loss over the band is a local maximum within the stretch, with the ends
        of what around them is at most ``STRAY`` worse. None near a node.
    """
    free = np.flatnonzero((found.position >= low) & (found.position <= high))
    loss, place = found.band[free], found.position[free]
    padded = np.concatenate([[-np.inf], loss, [-np.inf]])
    peaks = np.flatnonzero((loss >= padded[:-2]) & (loss > padded[2:]))
    best = peaks[np.argsort(-loss[peaks], kind="stable")][:BEST_PLACES]
    chosen: list[BetterPlace] = []
    for i in best:
        poor = np.flatnonzero(loss < loss[i] - STRAY)
        first = int(np.max(poor[poor < i], initial=-1)) + 1
        last = int(np.min(poor[poor > i], initial=len(loss))) - 1
        here = found.at(float(place[i]))
        if not here.near_node:
            chosen.append(BetterPlace(here, float(place[first]), float(place[last])))
    return chosen


def nodes(found: Sweep) -> FloatArray:
    """Places at which the standing wave of the tone has a pressure node, m from the open end.

    The place of each minimum of the squared pressure, by a parabola through three positions; the
    one that lies outside the open end is not told.
    """
    squared = np.square(found.pressure)
    inner = np.flatnonzero((squared[1:-1] < squared[:-2]) & (squared[1:-1] <= squared[2:])) + 1
    places: list[float] = []
    for i in inner:
        x = found.position[i - 1 : i + 2]
        parabola = np.polynomial.Polynomial.fit(x, squared[i - 1 : i + 2], 2)
        places.append(float(parabola.deriv().roots()[0].real))
    return np.array(places)
