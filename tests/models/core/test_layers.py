"""Series and tables of the core's march along a duct, against Bessel functions and numpy."""

from ctypes import byref, c_double

import mpmath
import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch import core
from warmbranch.sound import acoustics, viscothermal

LARGEST_SQUARE = 2.25
"""Of sound.c: squared phase of a cell up to which the series serve as they are."""

# The polynomials are fitted to 1e-14; the sums of their terms round a little.
TABLE = 1e-13

# Rounding of 32 matrix products at 100 waves along the duct.
MARCH = 1e-11


def narrow(inverse: float) -> tuple[float, float]:
    library = core.at_hand()
    assert library is not None
    real, imaginary = c_double(), c_double()
    library.functions.core_layer(c_double(inverse), byref(real), byref(imaginary))
    return real.value, imaginary.value


def test_layers_of_narrow_tubes():
    """Shear wave numbers down to nothing, at odd places and at the ends of the pieces."""
    wide = viscothermal.WIDE_TUBE
    for r in [1e-3, 0.01, *np.linspace(0.1, wide - 1e-9, 57), *np.arange(0.25, wide, 2.25)]:
        y = mpmath.mpf(r) * mpmath.sqrt(mpmath.mpc(0, 1))
        exact = complex(2 / y * mpmath.besseli(1, y) / mpmath.besseli(0, y))
        assert complex(*narrow(1 / r)) == pytest.approx(exact, rel=TABLE)


@pytest.mark.parametrize("losses", [True, False])
@pytest.mark.parametrize("radius", [0.002, 0.024])
def test_any_frequency_on_any_cell(ideal_gas, build_duct, monkeypatch, losses, radius):
    """From cells much shorter than the wave to cells of several waves, beyond the series."""
    duct = build_duct(
        lambda x: 700 - 300 * x, 1.2, ideal_gas(), radius=radius, wall_losses=losses,
        mouth_length=0.02,
    )  # fmt: skip
    frequency = np.geomspace(1.0, 60e3, 211)[None]
    assert core.at_hand() is not None
    compiled = acoustics.input_impedance(duct, frequency)
    monkeypatch.setenv(core.OFF, "off")
    plain = acoustics.input_impedance(duct, frequency)
    *_, phase = acoustics._cell_matrices(duct, frequency)
    assert np.abs(phase).max() > 4 * LARGEST_SQUARE**0.5
    reference = duct.mouth_impedance[:, None]
    # The reflection has no pole, wherever p or u vanishes.
    told, expected = ((z - reference) / (z + reference) for z in (compiled, plain))
    assert_allclose(told, expected, rtol=0, atol=MARCH)
