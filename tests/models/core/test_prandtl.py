"""Power series that stand for roots and powers of air's Prandtl number."""

from ctypes import byref, c_double, c_int64

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch import core
from warmbranch.gas.gas import COLDEST, HOTTEST, dry_air_table
from warmbranch.heat import nusselt_with_slopes as forms

LOWEST, HIGHEST = 0.70, 0.76
"""Of outside_film.c."""

SERIES = {
    "level_factor": lambda p: forms.natural_factors(p, forms.LEVEL_PRANDTL).value,
    "level_slope": lambda p: forms.natural_factors(p, forms.LEVEL_PRANDTL).slope,
    "plate_factor": lambda p: forms.natural_factors(p, forms.PLATE_PRANDTL).value,
    "plate_slope": lambda p: forms.natural_factors(p, forms.PLATE_PRANDTL).slope,
    "bend_strength": lambda p: forms.curvature_factors(p).strength,
    "bend_strength_slope": lambda p: forms.curvature_factors(p).strength_slope,
    "bend_exponent": lambda p: forms.curvature_factors(p).exponent,
    "bend_exponent_slope": lambda p: forms.curvature_factors(p).exponent_slope,
    "cross_factor": lambda p: forms.cross_flow_factors(p).value,
    "cross_slope": lambda p: forms.cross_flow_factors(p).slope,
}
"""In the order of the C file's ``enum prandtl_series``."""


@pytest.mark.parametrize("name", SERIES)
def test_they_are_the_functions(name):
    library = core.at_hand()
    assert library is not None
    series, exact = c_double(), c_double()
    which = c_int64(list(SERIES).index(name))
    for prandtl in np.linspace(LOWEST, HIGHEST, 601):
        library.functions.core_prandtl(which, c_double(prandtl), byref(series), byref(exact))
        expected = SERIES[name](prandtl)
        assert_allclose(series.value, expected, rtol=1e-14)
        assert_allclose(exact.value, expected, rtol=1e-14)


def test_they_hold_all_of_the_air_table():
    air = dry_air_table().evaluate(np.linspace(COLDEST, HOTTEST, 20001)[None])
    prandtl = air.heat_capacity * air.viscosity / air.conductivity
    assert LOWEST < prandtl.min() < prandtl.max() < HIGHEST
