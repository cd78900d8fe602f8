"""The flow in the main pipe, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from warmbranch.case.main_pipe import mach_number
from warmbranch.gas.gas import dry_air_table


def test_mach_number_of_air(make_case):
    """Density 1.2041 kg/m³ and 343.2 m/s of dry air at 20 °C and 101.325 kPa: ISO 9613-1 and the
    ICAO atmosphere, from memory, to half a per mille each."""
    case = make_case(mass_flow=0.2, gas_temperature=293.15)
    bore = float(case.main_pipe.bore[0])
    expected = 0.2 / (1.2041 * math.pi / 4 * bore**2 * 343.2)
    found = mach_number(case.main_pipe, dry_air_table(), np.array([101325.0]))
    assert found == pytest.approx(expected, rel=1e-3)
