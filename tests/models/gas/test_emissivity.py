"""Radiation of carbon dioxide and water."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.base.constants import STEFAN_BOLTZMANN
from warmbranch.gas.emissivity import (
    BEAM_LENGTH,
    WALL_FACTOR,
    absorptivity,
    exchange_coefficients,
    small_exchange,
    total_emissivity,
)
from warmbranch.heat.radiation import gas_exchange

ATMOSPHERE = 1.01325  # bar
WATER, CARBON_DIOXIDE, BORE = 0.124, 0.135, 0.0478
GASES = {"petrol": (0.124, 0.135), "lean diesel": (0.042, 0.048), "methane": (0.190, 0.095)}


def array(value):
    return np.array(float(value))


def mixture(t, water, carbon_dioxide, path_cm, pressure=ATMOSPHERE):
    return total_emissivity(
        array(t), array(water * pressure), array(carbon_dioxide * pressure), array(pressure),
        array(path_cm),
    )  # fmt: skip


def test_a_gas_without_either_is_transparent():
    none = exchange_coefficients(np.zeros(1), np.zeros(1), np.full(1, 101325.0), np.full(1, BORE))
    np.testing.assert_array_equal(none, 0)
    assert mixture(600, 0, 0, 4.5) == 0


def test_bands_that_overlap_leave_less_than_the_sum_and_more_than_either():
    water, both = mixture(1000, 0.1, 0, 300), mixture(1000, 0.1, 0.1, 300)
    carbon_dioxide = mixture(1000, 0, 0.1, 300)
    assert max(water, carbon_dioxide) < both < water + carbon_dioxide


def grey_gases(t, path):
    """Sum of grey gases of Smith, Shen and Friedman (1982) for as much water as carbon dioxide.

    Coefficients from memory; ``path`` is atm m of both together.
    """
    absorption = np.array([0.4303, 7.055, 178.1])
    weights = np.array(
        [
            [5.150e-1, -2.303e-4, 0.9779e-7, -1.494e-11],
            [0.7749e-1, 3.399e-4, -2.297e-7, 3.770e-11],
            [1.907e-1, -1.824e-4, 0.5608e-7, -0.5122e-11],
        ]
    )
    share = np.polynomial.polynomial.polyval(t, weights.T)
    return float(share @ (1 - np.exp(-absorption * path)))


@pytest.mark.parametrize("path", [0.01, 0.05, 0.3])
@pytest.mark.parametrize("t", [800, 1000, 1200])
def test_against_a_sum_of_grey_gases(t, path):
    """Both are fits to spectra, each told to be within some 10 %: together 20 %."""
    found = mixture(t, 0.1, 0.1, 100 * path / 0.2)
    assert found == pytest.approx(grey_gases(t, path), rel=0.20)


@pytest.mark.parametrize("gas", GASES)
def test_the_polynomial_is_what_it_is_fitted_to(gas):
    water, carbon_dioxide = (np.full(1, share) for share in GASES[gas])
    pressure, bore = np.full(1, 101325.0), np.full(1, BORE)
    t = np.linspace(300, 1280, 50)
    fitted = exchange_coefficients(water, carbon_dioxide, pressure, bore)[0]
    exact = small_exchange(t, water, carbon_dioxide, pressure, bore)
    assert_allclose(np.polynomial.polynomial.polyval(t / 1000, fitted), exact, rtol=0.01)


@pytest.mark.parametrize(
    ("hot", "wall"), [(420, 380), (520, 420), (670, 480), (900, 500), (900, 850), (450, 600)]
)
def test_exchange_is_hottels_own(hot, wall):
    """``F σ (ε T_g⁴ − α T_w⁴)``, with the absorptivity at the wall's temperature."""
    water, carbon_dioxide = array(WATER * ATMOSPHERE), array(CARBON_DIOXIDE * ATMOSPHERE)
    path = array(100 * BEAM_LENGTH * BORE)
    sent = mixture(hot, WATER, CARBON_DIOXIDE, path)
    taken = absorptivity(array(hot), array(wall), water, carbon_dioxide, array(ATMOSPHERE), path)
    own = WALL_FACTOR * STEFAN_BOLTZMANN * (sent * hot**4 - taken * wall**4)
    coefficients = exchange_coefficients(
        np.full(1, WATER), np.full(1, CARBON_DIOXIDE), np.full(1, 101325.0), np.full(1, BORE)
    )
    found, _, _ = gas_exchange(coefficients, np.array([[hot]]), np.array([[wall]]))
    assert found[0, 0] == pytest.approx(own, rel=0.01)


def test_slopes_of_the_exchange_by_differences():
    coefficients = exchange_coefficients(
        np.full(1, WATER), np.full(1, CARBON_DIOXIDE), np.full(1, 101325.0), np.full(1, BORE)
    )
    gas, wall, step = np.array([[620.0]]), np.array([[430.0]]), 1e-3
    _, by_gas, by_wall = gas_exchange(coefficients, gas, wall)

    def flux(warmer, wall_warmer):
        return gas_exchange(coefficients, gas + warmer, wall + wall_warmer)[0][0, 0]

    assert by_gas[0, 0] == pytest.approx((flux(step, 0) - flux(-step, 0)) / (2 * step), rel=1e-6)
    assert by_wall[0, 0] == pytest.approx((flux(0, -step) - flux(0, step)) / (2 * step), rel=1e-6)


def test_many_gases_are_each_as_alone():
    rows = np.array([[w, c, 101325.0, b] for w, c in GASES.values() for b in (0.02, 0.06)])
    together = exchange_coefficients(*rows.T)
    for row, found in zip(rows, together, strict=True):
        # A small linear system, whose last coefficients are differences of large ones.
        assert_allclose(exchange_coefficients(*row[:, None])[0], found, rtol=1e-9)
