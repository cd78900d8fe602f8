"""What a hand thermometer shows of a skin, and what the skin then is.

An infrared thermometer takes in the radiance of its spot from 8 to 14 µm: what the skin emits,
what it reflects, and what misses the tube. It shows the temperature that would explain that
radiance with the emissivity that it is set to. Readings are compared as displayed, never as
corrected: the correction is part of what is uncertain.

Emissivity and reflected temperature are those that the procedures of ASTM E1933 (emissivity, by a
contact thermometer or by a patch of known emissivity) and ASTM E1862 (reflected temperature, by
a reflector or directly) measure.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from warmbranch.base.batch import FloatArray

PLANCK = 6.62607015e-34
"""J s, exact. CODATA 2018."""

LIGHT = 299792458.0
"""m/s, exact."""

BOLTZMANN = 1.380649e-23
"""J/K, exact. CODATA 2018."""

BAND = (8e-6, 14e-6)
"""m. Edges of the detector's band; a flat response between them is assumed."""

MIDDLE = 10.6e-6
"""m. A wavelength that stands for the band, as a start."""

COLDEST_DISPLAY = 150.0
"""K. Far below what any display shows: radiance that no positive temperature explains, as with
a set emissivity far too low, is read as this."""

LAST_STEP = 1e-5
"""Relative step after which the search for a temperature ends: what is left is smaller than its
square."""

HOTTEST_TABLED, PIECES = 2000.0, 2048
"""K, and pieces of the table of displays, which is 1e-12 off at most."""

ORDER = 10
"""Points of the Gauss–Legendre rule over the band; their error is below 1e-9."""


@lru_cache(maxsize=1)
def _rule() -> tuple[FloatArray, FloatArray]:
    """``h c/(λ k)`` in K and weights that hold ``2 h c²/λ⁵`` and the width of the band."""
    point, weight = np.polynomial.legendre.leggauss(ORDER)
    low, high = BAND
    wavelength = low + (high - low) * (point + 1) / 2
    scaled = weight * (high - low) / 2 * 2 * PLANCK * LIGHT**2 / wavelength**5
    return PLANCK * LIGHT / (wavelength * BOLTZMANN), scaled


def band_radiance(temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
    r"""Radiance of a black body from 8 to 14 µm, and its slope.

    .. math:: L(T) = \int_{8\,\mu m}^{14\,\mu m}
              \frac{2 h c^2}{\lambda^5}\,\frac{1}{e^{hc/(\lambda k T)} - 1}\,d\lambda

    Parameters
    ----------
    temperature : array, K
        ``> 0``.

    Returns
    -------
    radiance : array, W/(m² sr)
    slope : array, W/(m² sr K)

    Valid for
    ---------
    150 to 1500 K to 1e-10, which the quadrature decides.

    Check
    -----
    Computed by adaptive quadrature of Planck's law: 136.7783 W/(m² sr) at 100 °C.

    >>> radiance, slope = band_radiance(np.array([373.15]))
    >>> radiance.round(4), slope.round(5)
    (array([136.7783]), array([1.39723]))

    Source
    ------
    Planck's law; constants of CODATA 2018.
    """
    characteristic, weight = _rule()
    x = characteristic / np.asarray(temperature)[..., None]
    occupied = 1 / (np.exp(x) - 1)  # not expm1, which is slow: x is above 0.5
    value: FloatArray = occupied @ weight
    slope: FloatArray = (occupied * (1 + occupied) * x) @ weight / temperature
    return value, slope


def band_temperature(radiance: FloatArray) -> FloatArray:
    """Temperature of a black body of this radiance from 8 to 14 µm, K.

    The inverse of :func:`band_radiance`; ``COLDEST_DISPLAY`` where the radiance is lower than
    that temperature's.

    Parameters
    ----------
    radiance : array, W/(m² sr)
    """
    first, spacing, cubics = _table()
    wanted = np.log(np.maximum(radiance, np.exp(first)))
    place = (wanted - first) / spacing
    piece = np.fmin(np.fmax(place, 0), len(cubics) - 1).astype(np.intp)  # NaN as well
    along = place - piece
    c0, c1, c2, c3 = np.moveaxis(cubics[piece], -1, 0)
    found = 1 / (((c3 * along + c2) * along + c1) * along + c0)
    if np.any(place > len(cubics)):
        hotter = 1 / _root(wanted, np.broadcast_to(1 / HOTTEST_TABLED, wanted.shape))
        found = np.where(place > len(cubics), hotter, found)
    return found


def _root(wanted: FloatArray, inverse: FloatArray) -> FloatArray:
    """1/T of a black body of ln L, by Newton's method: ln L is nearly straight in it."""
    for _ in range(30):
        value, slope = band_radiance(1 / inverse)
        step = -(np.log(value) - wanted) * value * inverse**2 / slope
        inverse = inverse - np.clip(step, -0.5 * inverse, 0.5 * inverse)
        if not np.any(np.abs(step) > LAST_STEP * inverse):
            break
    return inverse


@lru_cache(maxsize=1)
def _table() -> tuple[float, float, FloatArray]:
    """The first ln L, how far the next is, and cubics (pieces, 4) of 1/T from each to the next."""
    ends, _ = band_radiance(np.array([COLDEST_DISPLAY, HOTTEST_TABLED]))
    wanted: FloatArray = np.linspace(
        float(np.log(ends[0])), float(np.log(ends[1])), PIECES + 1, dtype=np.float64
    )
    # All of the band at one wavelength gives 1/T to some percent.
    bright = 2 * PLANCK * LIGHT**2 * (BAND[1] - BAND[0]) / MIDDLE**5
    inverse: FloatArray = np.log1p(bright / np.exp(wanted)) * MIDDLE * BOLTZMANN / (PLANCK * LIGHT)
    inverse = _root(wanted, _root(wanted, inverse))
    value, slope = band_radiance(1 / inverse)
    spacing = float(wanted[1] - wanted[0])
    steep = -spacing * value * inverse**2 / slope
    rise: FloatArray = inverse[1:] - inverse[:-1]
    curved = 3 * rise - 2 * steep[:-1] - steep[1:]
    cubic = steep[:-1] + steep[1:] - 2 * rise
    return float(wanted[0]), spacing, np.stack([inverse[:-1], steep[:-1], curved, cubic], axis=1)


def share_on_tube(
    diameter: FloatArray, distance: FloatArray, distance_to_spot: FloatArray
) -> FloatArray:
    r"""Part of a round spot that falls on a straight tube in its middle.

    .. math:: \frac{2}{\pi}\left(\arcsin u + u\sqrt{1 - u^2}\right),\quad
              u = \min(1, \text{diameter}/\text{spot})

    Parameters
    ----------
    diameter : array, m
        Of the tube's skin.
    distance : array, m
        From thermometer to tube.
    distance_to_spot : array, dimensionless
        The thermometer's ratio, "12" for 12:1.

    Returns
    -------
    array, dimensionless
        1 where the spot fits on the tube.

    Valid for
    ---------
    A sharp, evenly weighted spot of diameter ``distance/distance_to_spot``, aimed at the middle
    and square to the tube. Makers' spots hold some 90 % of the energy, so keep the tube twice as
    wide as the spot.

    Check
    -----
    Exact, by hand: a spot twice as wide as the tube has
    ``2/π (π/6 + √3/4) = 0.60900`` of it on the tube.

    >>> share_on_tube(np.array([0.05]), np.array([1.2]), np.array([12.0])).round(5)
    array([0.609])
    """
    u = np.minimum(1.0, diameter * distance_to_spot / distance)
    return 2 / np.pi * (np.arcsin(u) + u * np.sqrt(1 - u**2))


def displayed_by_infrared(
    skin: FloatArray,
    emissivity: FloatArray,
    emissivity_set: FloatArray,
    reflected: FloatArray,
    reflected_set: FloatArray,
    share: FloatArray,
    background: FloatArray,
) -> FloatArray:
    r"""What an infrared thermometer shows.

    .. math:: \varepsilon_{set} L(T_{shown}) + (1 - \varepsilon_{set}) L(T_{set}) =
              s [\varepsilon L(T) + (1 - \varepsilon) L(T_{reflected})] + (1 - s) L(T_{behind})

    Parameters
    ----------
    skin, reflected, background : array, K
        Of the skin; of what the skin mirrors; of what is seen past the tube.
    emissivity, emissivity_set : array, dimensionless
        True one from 8 to 14 µm, and the one that the thermometer is set to. In (0, 1].
    reflected_set : array, K
        Reflected temperature that the thermometer reckons with, mostly its own; NaN for one that
        leaves the second term on the left out, as some cheap ones do.
    share : array, dimensionless
        Part of the spot on the tube, ``s``.

    Returns
    -------
    array, K

    Check
    -----
    Computed by adaptive quadrature: 100 °C at emissivity 0.2, set to 0.95, all around at 22 °C,
    shows 42.54 °C.

    >>> one = np.ones(1)
    >>> around = 295.15 * one
    >>> shown = displayed_by_infrared(
    ...     373.15 * one, 0.2 * one, 0.95 * one, around, around, one, around
    ... )
    >>> (shown - 273.15).round(2)
    array([42.54])

    Source
    ------
    Definition of emissivity and Kirchhoff's law for an opaque skin.
    """
    seen = (
        share
        * (emissivity * band_radiance(skin)[0] + (1 - emissivity) * band_radiance(reflected)[0])
        + (1 - share) * band_radiance(background)[0]
    )
    return band_temperature((seen - _reckoned(emissivity_set, reflected_set)) / emissivity_set)


def skin_from_infrared(
    displayed: FloatArray,
    emissivity: FloatArray,
    emissivity_set: FloatArray,
    reflected: FloatArray,
    reflected_set: FloatArray,
    share: FloatArray,
    background: FloatArray,
) -> FloatArray:
    """The skin that explains what an infrared thermometer shows, K.

    The inverse of :func:`displayed_by_infrared`, with the same parameters. ``COLDEST_DISPLAY``
    where no skin that warm or warmer explains it.

    Check
    -----
    The round trip, in tests/models/fit/test_thermometer.py; shows 40 °C at emissivity 0.2, set to
    0.95, all around at 22 °C: 91.6 °C.

    >>> one = np.ones(1)
    >>> around = 295.15 * one
    >>> skin = skin_from_infrared(313.15 * one, 0.2 * one, 0.95 * one, around, around, one, around)
    >>> (skin - 273.15).round(1)
    array([91.6])
    """
    seen = emissivity_set * band_radiance(displayed)[0] + _reckoned(emissivity_set, reflected_set)
    on_tube = (seen - (1 - share) * band_radiance(background)[0]) / share
    emitted = on_tube - (1 - emissivity) * band_radiance(reflected)[0]
    return band_temperature(emitted / emissivity)


def _reckoned(emissivity_set: FloatArray, reflected_set: FloatArray) -> FloatArray:
    """Reflected radiance that the thermometer takes off by itself."""
    known = np.where(np.isnan(reflected_set), COLDEST_DISPLAY, reflected_set)
    reckoned = (1 - emissivity_set) * band_radiance(known)[0]
    return np.where(np.isnan(reflected_set), 0.0, reckoned)
