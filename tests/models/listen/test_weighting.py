"""A-weighting against the table of the standard."""

from __future__ import annotations

import numpy as np
import pytest

from warmbranch.listen.weighting import a_weighting

# IEC 61672-1:2013, table 3, design goals printed to 0.1 dB at the nominal frequencies; exact
# frequencies are 1000 times powers of 10^0.1. From memory of the table.
TABLE = {
    20: -50.5, 25: -44.7, 31.5: -39.4, 40: -34.6, 50: -30.2, 63: -26.2, 80: -22.5, 100: -19.1,
    125: -16.1, 160: -13.4, 200: -10.9, 250: -8.6, 315: -6.6, 400: -4.8, 500: -3.2, 630: -1.9,
    800: -0.8, 1000: 0.0, 1250: 0.6, 1600: 1.0, 2000: 1.2, 2500: 1.3, 3150: 1.2, 4000: 1.0,
    5000: 0.5, 6300: -0.1, 8000: -1.1, 10000: -2.5,
}  # fmt: skip


@pytest.mark.parametrize("nominal", TABLE)
def test_table_of_the_standard(nominal):
    exact = 1000 * 10 ** (round(10 * np.log10(nominal / 1000)) / 10)
    # Half of the last digit printed.
    assert abs(float(a_weighting(np.array(exact))) - TABLE[nominal]) <= 0.0501
