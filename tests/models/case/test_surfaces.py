"""Surfaces: values within their ranges, sources given."""

from __future__ import annotations

import pytest

from warmbranch.base.errors import InputError
from warmbranch.case.surfaces import SURFACES, surface

names = pytest.mark.parametrize("name", SURFACES)


@names
def test_values_lie_in_their_range(name):
    record = surface(name)
    assert 0 < record.low <= record.emissivity <= record.high < 1
    assert record.low <= record.longwave_emissivity <= record.high


@names
def test_source_is_given(name):
    assert len(surface(name).source) > 15


def test_order_of_ageing():
    ageing = ["polished stainless", "new stainless", "weathered stainless"]
    ageing += ["heat-tinted stainless", "oxidised stainless"]
    values = [surface(name).emissivity for name in ageing]
    assert values == sorted(values)


def test_painted_patches_suit_a_thermometer():
    """Thermometers are set to 0.95 out of the box."""
    for name in ("matt black paint", "vinyl tape"):
        assert 0.94 <= surface(name).longwave_emissivity <= 0.96


def test_unknown_surface_names_the_known_ones():
    with pytest.raises(InputError, match=r"chocolate.*rusty mild steel"):
        surface("chocolate")
