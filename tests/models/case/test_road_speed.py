"""Road speed to engine speed, against an example worked by hand."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from warmbranch.case.road_speed import (
    ROLLING_FACTOR,
    engine_speed_on_road,
    rolling_circumference,
    tyre_diameter,
)


def test_by_hand():
    """110 km/h on 205/55 R 16, fifth gear 0.80, final drive 4.06.

    Diameter 16 × 25.4 + 2 × 0.55 × 205 = 631.9 mm; circumference 3.05 × 631.9 = 1927.3 mm;
    110 / 3.6 = 30.556 m/s; 30.556 / 1.9273 = 15.854 wheel turns a second; × 0.80 × 4.06 = 51.49
    engine turns a second; × 60 = 3090 rpm.
    """
    diameter = tyre_diameter(0.205, 0.55, 16 * 0.0254)
    assert_allclose(diameter, 0.6319, rtol=1e-9)
    circumference = rolling_circumference(diameter)
    assert_allclose(circumference, 1.9273, atol=5e-5)
    speed = engine_speed_on_road(110 / 3.6, circumference, 0.80, 4.06)
    assert_allclose(60 * speed, 3090, atol=1)  # carried by hand with four or five digits


def test_a_loaded_tyre_rolls_less_than_its_circle():
    assert 0.95 * math.pi < ROLLING_FACTOR < math.pi


@given(st.floats(1, 60), st.floats(1, 3), st.floats(0.5, 4), st.floats(2, 6))
def test_there_and_back(speed, circumference, gear, final):
    engine = engine_speed_on_road(speed, circumference, gear, final)
    wheels = engine / (gear * final)  # turns a second
    assert_allclose(wheels * circumference, speed, rtol=1e-12)
