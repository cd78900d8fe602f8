"""Metals: fits against their handbook points, slopes, batches."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.base.errors import InputError
from warmbranch.case.materials import METALS, Metal, metal

SPAN = np.linspace(200.0, 1300.0, 111)[None]
names = pytest.mark.parametrize("name", METALS)


@names
def test_conductivity_fits_its_points(name):
    temperature, value = np.array(METALS[name].conductivity_points, dtype=float).T
    # 2.5 %: what a quadratic leaves, largest for titanium; as the table's docstring says.
    assert_allclose(metal(name).conductivity(temperature[None])[0], value, rtol=0.025)


@names
def test_heat_capacity_fits_its_points(name):
    temperature, value = np.array(METALS[name].heat_capacity_points, dtype=float).T
    # 4 %: what a quadratic leaves of the knee of stainless steel at 300 K.
    assert_allclose(metal(name).heat_capacity(temperature[None])[0], value, rtol=0.04)


@names
def test_positive_wherever_it_may_be_asked(name):
    own = metal(name)
    assert own.conductivity(SPAN).min() > 5
    assert own.heat_capacity(SPAN).min() > 300
    assert 4000 < own.density[0] < 9000


@names
def test_conductivity_slope(name):
    own, step = metal(name), 1e-2
    numeric = (own.conductivity(SPAN + step) - own.conductivity(SPAN - step)) / (2 * step)
    # A quadratic has no truncation error; rounding is 1e-16·65/1e-2.
    assert_allclose(own.conductivity_slope(SPAN), numeric, atol=2e-11)


@names
def test_record_is_documented(name):
    record = METALS[name]
    assert len(record.source) > 20
    assert "memory" in record.source or "data sheet" in record.source or "grade" in record.source
    # Pipes live between a warm day and red heat.
    assert np.isnan(record.limit_temperature) or 600 < record.limit_temperature < 1300


def test_fewer_points_than_a_quadratic():
    """Two points make a line through both; one makes a constant."""
    ferritic = metal("stainless 409")
    at_points = ferritic.conductivity(np.array([[373.15, 773.15]]))
    assert_allclose(at_points, [[25.8, 27.5]], rtol=1e-12)  # rounding
    assert_allclose(ferritic.heat_capacity(SPAN), 460.0, rtol=1e-12)  # rounding


def test_constant():
    own = Metal.constant(16.0, 7900.0, 500.0)
    assert len(own) == 1
    assert np.all(own.conductivity(SPAN) == 16.0)
    assert not np.any(own.conductivity_slope(SPAN))
    assert np.all(own.heat_capacity(SPAN) == 500.0)
    assert np.isnan(own.limit_temperature[0])


def test_constant_of_many():
    own = Metal.constant(np.array([16.0, 50.0]), 7900.0, np.array([500.0, 480.0]))
    assert len(own) == 2
    assert_allclose(own.conductivity(np.full((2, 3), 400.0))[:, 0], [16.0, 50.0], rtol=0, atol=0)


def test_batches_join():
    both = Metal.concatenate([metal("stainless 304"), metal("mild steel")])
    temperature = np.array([[300.0, 800.0], [300.0, 800.0]])
    for i, name in enumerate(("stainless 304", "mild steel")):
        alone = metal(name).conductivity(temperature[i : i + 1])
        assert np.array_equal(both.conductivity(temperature)[i : i + 1], alone)
        assert np.array_equal(both.take(slice(i, i + 1)).density, metal(name).density)


def test_unknown_metal_names_the_known_ones():
    with pytest.raises(InputError, match=r"unobtainium.*stainless 304") as caught:
        metal("unobtainium")
    assert caught.value.field == "branch.material"
