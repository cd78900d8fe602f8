"""The exact laminar form against a radial solution and against its thin-layer limit."""

import itertools
import math

import pytest

from experiments.mouth.watson import boundary_layer, enhancement, numerical


@pytest.mark.parametrize("isothermal", [False, True])
@pytest.mark.parametrize("womersley", [0.5, 2.0, 10.0, 40.0])
@pytest.mark.parametrize("prandtl", [0.7, 1.0, 3.0])
def test_closed_form_agrees_with_radial_solution(
    womersley: float, prandtl: float, isothermal: bool
) -> None:
    args = (womersley**2, 1.0, 1.0, 1.0, prandtl, isothermal)
    # second order: 1,000, 2,000 and 4,000 cells differ by 4e-6, 1e-6 and 2.5e-7; at Pr 1 the
    # mean of both sides of the removable singularity adds 2e-6
    assert enhancement(*args) == pytest.approx(numerical(*args), rel=5e-6)


@pytest.mark.parametrize("isothermal", [False, True])
def test_thin_layers_are_the_limit_with_first_order(isothermal: bool) -> None:
    miss: list[float] = []
    for womersley in (100.0, 200.0, 400.0):
        args = (womersley**2, 1.0, 1.0, 1.0, 0.7, isothermal)
        miss.append(enhancement(*args) / boundary_layer(*args) - 1.0)
    for coarse, fine in itertools.pairwise(miss):
        assert math.log2(coarse / fine) == pytest.approx(1.0, abs=0.03)
