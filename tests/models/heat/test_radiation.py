"""Grey-body exchange: value, slope, limits."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from warmbranch.heat.radiation import radiative_flux

SKIN = np.array([[250.0, 300.0, 500.0, 1200.0]])


def test_black_body_by_hand():
    # σ(400⁴ − 300⁴) = 5.670374419e-8 · 1.75e10
    flux, _ = radiative_flux(np.array(400.0), np.array(300.0), np.array(1.0))
    assert_allclose(flux, 992.315523325, rtol=1e-12)  # rounding


def test_no_heat_between_equals():
    flux, slope = radiative_flux(SKIN, SKIN, np.array(0.8))
    # Differences of equal fourth powers, rounded: some 1e-16 of σT⁴, 1e5 W/m² at most.
    assert_allclose(flux, 0.0, atol=1e-10)
    assert np.all(slope > 0)


def test_no_emissivity_no_radiation():
    flux, slope = radiative_flux(SKIN, np.array(290.0), np.array(0.0))
    assert not np.any(flux)
    assert not np.any(slope)


def test_sign():
    flux, _ = radiative_flux(SKIN, np.array(290.0), np.array(0.5))
    assert np.array_equal(np.sign(flux), np.sign(SKIN - 290.0))


def test_slope_against_central_differences():
    step = 1e-2
    up, _ = radiative_flux(SKIN + step, np.array(290.0), np.array(0.7))
    down, _ = radiative_flux(SKIN - step, np.array(290.0), np.array(0.7))
    _, slope = radiative_flux(SKIN, np.array(290.0), np.array(0.7))
    # Third derivative over six times step²: (step/T)² = 1.6e-9 at most.
    assert_allclose(slope, (up - down) / (2 * step), rtol=2e-9)


def test_designs_broadcast():
    emissivity = np.array([[0.2], [0.9]])
    flux, slope = radiative_flux(np.repeat(SKIN, 2, axis=0), np.array([[280.0]]), emissivity)
    assert flux.shape == slope.shape == (2, 4)
    assert_allclose(flux[1] / flux[0], 4.5, rtol=1e-12)  # rounding
