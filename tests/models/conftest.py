"""What several test files of the acoustics share."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from shared.lengths import a_case, bent, operating_points, uniform_case
from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import STANDARD_PRESSURE
from warmbranch.gas.gas import MixtureTable
from warmbranch.sound.acoustics import Duct
from warmbranch.sound.discretisation import duct


def make_ideal_gas(
    heat_capacity_ratio: float = 1.37,
    gas_constant: float = 289.0,
    viscosity: float = 3e-5,
    prandtl: float = 0.7,
) -> MixtureTable:
    """A gas whose properties do not change with temperature: the gas of the exact solutions."""
    heat_capacity = heat_capacity_ratio * gas_constant / (heat_capacity_ratio - 1)
    # One piece of spline for all temperatures; only the constant term is there.
    coefficients = np.zeros((4, 3, 1, 1))
    coefficients[0, :, 0, 0] = heat_capacity, viscosity * heat_capacity / prandtl, viscosity
    return MixtureTable(coefficients, np.array([gas_constant]))


def make_duct(
    profile: Callable[[FloatArray], FloatArray],
    length: float,
    gas: MixtureTable,
    *,
    cells: int = 32,
    per_cell: int = 1,
    radius: float = 0.024,
    mouth_length: float = 0.0,
    wall_losses: bool = False,
    wall: Callable[[FloatArray], FloatArray] | None = None,
    pressure: float = STANDARD_PRESSURE,
    inertance_ratio: FloatArray | None = None,
) -> Duct:
    """One duct on evenly spaced nodes; ``mouth_length`` is of gas of the mouth's temperature."""
    x = np.linspace(0.0, length, cells * per_cell + 1)[None]
    temperature = profile(x) + 0 * x
    at_mouth = gas.density(temperature[:, :1], np.array([pressure]))[:, 0]
    ratio = np.ones(x.shape[1] - 1) if inertance_ratio is None else inertance_ratio
    return duct(
        x,
        temperature,
        gas,
        np.array([pressure]),
        radius=np.array([radius]),
        inertance_ratio=ratio[None],
        mouth_inertance=at_mouth * mouth_length / (np.pi * radius**2),
        wall_losses=np.array([wall_losses]),
        wall=None if wall is None else wall(x) + 0 * x,
        cells=cells,
    )


@pytest.fixture(scope="session")
def ideal_gas() -> Callable[..., MixtureTable]:
    return make_ideal_gas


@pytest.fixture(scope="session")
def build_duct() -> Callable[..., Duct]:
    return make_duct


__all__ = ["a_case", "bent", "operating_points", "uniform_case"]
"""Fixtures of tests/shared, for every test here."""
