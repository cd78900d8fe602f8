from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from warmbranch.base.constants import ICE_POINT, STEFAN_BOLTZMANN
from warmbranch.fit.thermometer import (
    BAND,
    COLDEST_DISPLAY,
    band_radiance,
    band_temperature,
    displayed_by_infrared,
    share_on_tube,
    skin_from_infrared,
)

H, C, K = 6.62607015e-34, 299792458.0, 1.380649e-23
"""CODATA 2018, exact by definition."""


def planck(temperature: float, low: float = BAND[0], high: float = BAND[1]) -> float:
    """Independent of the package: adaptive quadrature of Planck's law."""

    def spectral(wavelength: float) -> float:
        return 2 * H * C**2 / wavelength**5 / np.expm1(H * C / (wavelength * K * temperature))

    return quad(spectral, low, high, epsabs=0, epsrel=1e-12)[0]


def arrays(*values: float) -> list[np.ndarray]:
    return [np.array([value]) for value in values]


@pytest.mark.parametrize("temperature", [150.0, 233.15, 293.15, 373.15, 573.15, 873.15, 1300.0])
def test_band_radiance_is_the_integral_of_plancks_law(temperature):
    radiance, slope = band_radiance(np.array([temperature]))
    # The ten-point rule is good to 1e-9 at the cold end, to rounding elsewhere.
    assert radiance[0] == pytest.approx(planck(temperature), rel=1e-9)
    step = 1e-3 * temperature
    difference = (planck(temperature + step) - planck(temperature - step)) / (2 * step)
    # The difference itself errs by some step² f'''/f, 1e-5 at the coldest.
    assert slope[0] == pytest.approx(difference, rel=3e-5)


def test_a_wide_band_would_give_the_stefan_boltzmann_law():
    """Guards the independent integral itself, which other tests lean on."""
    whole = planck(400.0, 0.5e-6, 5e-3)
    # Beyond 5 mm and below 0.5 µm lies less than 1e-7 of it.
    assert np.pi * whole == pytest.approx(STEFAN_BOLTZMANN * 400.0**4, rel=1e-6)


def test_band_temperature_inverts_band_radiance():
    temperature = np.linspace(COLDEST_DISPLAY, 1500.0, 400)
    back = band_temperature(band_radiance(temperature)[0])
    np.testing.assert_allclose(back, temperature, rtol=1e-12, atol=0)


def test_radiance_that_nothing_explains_reads_as_the_coldest_display():
    np.testing.assert_allclose(
        band_temperature(np.array([-1.0, 0.0])), COLDEST_DISPLAY, rtol=1e-12, atol=0
    )


@pytest.mark.parametrize("true", [40.0, 60.0, 100.0, 150.0, 200.0, 300.0])
@pytest.mark.parametrize("emissivity", [0.1, 0.15, 0.2, 0.3, 0.5, 0.7, 0.8, 0.9])
def test_displays_agree_with_quadrature(true, emissivity):
    """Surroundings at 22 °C, set to 0.95: the whole table, independently."""
    around = 22.0 + ICE_POINT
    seen = emissivity * planck(true + ICE_POINT) + (1 - emissivity) * planck(around)
    wanted = brentq(
        lambda t: 0.95 * planck(t) + 0.05 * planck(around) - seen, 200.0, 700.0, xtol=1e-9
    )
    shown = displayed_by_infrared(
        *arrays(true + ICE_POINT, emissivity, 0.95, around, around, 1.0, around)
    )
    assert shown[0] == pytest.approx(wanted, abs=1e-6)  # both searches' own tolerance


def test_shiny_metal_shows_a_ruinous_temperature():
    around = 22.0 + ICE_POINT
    shown = displayed_by_infrared(
        *arrays(100.0 + ICE_POINT, 0.2, 0.95, around, around, 1.0, around)
    )
    assert shown[0] - ICE_POINT == pytest.approx(42.54, abs=0.005)  # as printed above


def test_a_black_body_seen_whole_shows_itself_whatever_is_reflected():
    shown = displayed_by_infrared(*arrays(400.0, 1.0, 1.0, 800.0, 300.0, 1.0, 250.0))
    assert shown[0] == pytest.approx(400.0, rel=1e-12)


def test_a_thermometer_that_leaves_reflection_out_shows_more():
    """100 °C at emissivity 0.95, set to 0.95, around at 22 °C shows 101.9 °C."""
    around = 22.0 + ICE_POINT
    shown = displayed_by_infrared(
        *arrays(100.0 + ICE_POINT, 0.95, 0.95, around, np.nan, 1.0, around)
    )
    assert shown[0] - ICE_POINT == pytest.approx(101.9, abs=0.05)  # half of the last digit


def test_skin_is_the_inverse_of_the_display():
    generator = np.random.default_rng(1)
    size = 500
    skin = generator.uniform(280.0, 900.0, size)
    given = (
        generator.uniform(0.05, 1.0, size),
        generator.uniform(0.3, 1.0, size),
        generator.uniform(270.0, 400.0, size),
        np.where(generator.random(size) < 0.2, np.nan, generator.uniform(280.0, 300.0, size)),
        generator.uniform(0.5, 1.0, size),
        generator.uniform(270.0, 400.0, size),
    )
    shown = displayed_by_infrared(skin, *given)
    told = shown > COLDEST_DISPLAY * (1 + 1e-9)
    assert told.mean() > 0.95
    back = skin_from_infrared(shown, *given)
    # Small emissivities magnify the rounding of the display.
    np.testing.assert_allclose(back[told], skin[told], rtol=1e-8, atol=0)


def test_share_on_tube_is_an_area():
    """Against a count of random points in the disc."""
    generator = np.random.default_rng(2)
    angle, radius = generator.uniform(0, 2 * np.pi, 400_000), np.sqrt(generator.random(400_000))
    across = radius * np.sin(angle)
    for ratio in (0.2, 0.61, 0.9):
        counted = np.mean(np.abs(across) <= ratio)
        share = share_on_tube(np.array([ratio * 0.1]), np.array([1.0]), np.array([10.0]))[0]
        assert share == pytest.approx(counted, abs=4e-3)  # four standard errors of the count


def test_a_spot_smaller_than_the_tube_is_whole():
    share = share_on_tube(np.array([0.05]), np.array([0.3]), np.array([12.0]))
    assert share[0] == pytest.approx(1.0, rel=1e-15)
