"""What metal stores, and how that grows with its temperature."""

from __future__ import annotations

import numpy as np
import pytest

from warmbranch.case.materials import METALS, metal
from warmbranch.warming.storage import heat_capacity, stored_heat


@pytest.mark.parametrize("name", METALS)
def test_heat_capacity_is_the_slope_of_what_is_stored(name):
    """Newton's method of the warm-up takes the one for the other's derivative. Of a cubic, the
    central difference errs by a third of the last coefficient times the step squared."""
    coefficients = metal(name).heat_capacity_coefficients[0]
    for temperature in np.linspace(250.0, 1200.0, 5):
        rise = stored_heat(coefficients, temperature + 1) - stored_heat(
            coefficients, temperature - 1
        )
        assert heat_capacity(coefficients, temperature) == pytest.approx(
            rise / 2, abs=abs(coefficients[2]) / 3 + 1e-7  # rounding of 1e6 J/kg
        )  # fmt: skip
        assert heat_capacity(coefficients, temperature) == pytest.approx(
            metal(name).heat_capacity(np.array([[temperature]]))[0, 0], rel=1e-12
        )
