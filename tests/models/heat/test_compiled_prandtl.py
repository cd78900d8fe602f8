"""Power series that stand for roots and powers of air's Prandtl number."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.gas.gas import COLDEST, HOTTEST, dry_air_table
from warmbranch.heat import compiled_prandtl as series
from warmbranch.heat import nusselt_forms as forms

SERIES = {
    "level_value": lambda p: forms.natural_factors(p, forms.LEVEL_PRANDTL).value,
    "level_slope": lambda p: forms.natural_factors(p, forms.LEVEL_PRANDTL).slope,
    "plate_value": lambda p: forms.natural_factors(p, forms.PLATE_PRANDTL).value,
    "plate_slope": lambda p: forms.natural_factors(p, forms.PLATE_PRANDTL).slope,
    "strength": lambda p: forms.curvature_factors(p).strength,
    "strength_slope": lambda p: forms.curvature_factors(p).strength_slope,
    "exponent": lambda p: forms.curvature_factors(p).exponent,
    "exponent_slope": lambda p: forms.curvature_factors(p).exponent_slope,
    "cross_value": lambda p: forms.cross_flow_factors(p).value,
    "cross_slope": lambda p: forms.cross_flow_factors(p).slope,
}


@pytest.mark.parametrize("name", SERIES)
def test_they_are_the_functions(name):
    prandtl = np.linspace(series.LOWEST, series.HIGHEST, 601)
    told = getattr(series, name).py_func(series.place.py_func(prandtl))
    assert_allclose(told, SERIES[name](prandtl), rtol=1e-14)


def test_they_hold_all_of_the_air_table():
    air = dry_air_table().evaluate(np.linspace(COLDEST, HOTTEST, 20001)[None])
    prandtl = air.heat_capacity * air.viscosity / air.conductivity
    assert series.LOWEST < prandtl.min() < prandtl.max() < series.HIGHEST
