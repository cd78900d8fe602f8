"""Calculators for wall layers, mouths and ducts of any temperature, through the solver itself."""

from __future__ import annotations

import numpy as np

from warmbranch.base.constants import STANDARD_PRESSURE
from warmbranch.gas.gas import MixtureTable
from warmbranch.sound.discretisation import duct
from warmbranch.sound.mouth import UNFLANGED, side_branch_correction
from warmbranch.sound.resonance import resonances
from warmbranch.sound.step import step_length
from warmbranch.sound.viscothermal import line, wall_layers

CELLS, PER_CELL = 128, 32


def tube_line(
    *, radius_m, density, viscosity, prandtl, heat_capacity_ratio, pressure_Pa, frequency_Hz
):
    radius = np.array([radius_m])
    layers = wall_layers(
        np.array([density]), np.array([viscosity]), np.array([prandtl]), radius, np.array([True])
    )
    impedance, admittance = line(
        np.array([frequency_Hz]),
        np.array([density]),
        np.array([heat_capacity_ratio * pressure_Pa]),
        layers,
        np.array([heat_capacity_ratio - 1]),
        radius,
    )
    return impedance[0], admittance[0]


def decaying_resonance(*, mouth_K, towards_K, decay_m, length_m, heat_capacity_ratio, gas_constant):
    # A gas of constant properties: a spline of one piece, of which only the constant is there.
    # Without losses neither viscosity nor conductivity has a say; they are set to 1.
    coefficients = np.zeros((4, 3, 1, 1))
    coefficients[0, :, 0, 0] = 1.0
    coefficients[0, 0] = heat_capacity_ratio * gas_constant / (heat_capacity_ratio - 1)
    x = np.linspace(0.0, length_m, CELLS * PER_CELL + 1)[None]
    filled = duct(
        x,
        towards_K + (mouth_K - towards_K) * np.exp(-x / decay_m),
        MixtureTable(coefficients, np.array([gas_constant])),
        np.array([STANDARD_PRESSURE]),
        radius=np.array([0.024]),
        inertance_ratio=np.ones((1, x.shape[1] - 1)),
        mouth_inertance=np.zeros(1),
        wall_losses=np.array([False]),
        cells=CELLS,
    )
    return resonances(filled)[0][0, 0]


CALCULATORS = {
    "series resistance of a tube": lambda **tube: tube_line(**tube)[0].real,
    "series reactance of a tube": lambda **tube: tube_line(**tube)[0].imag,
    "shunt conductance of a tube": lambda **tube: tube_line(**tube)[1].real,
    "shunt susceptance of a tube": lambda **tube: tube_line(**tube)[1].imag,
    "mouth correction of a side branch": lambda *, radius_ratio: side_branch_correction(
        np.array([radius_ratio])
    )[0],
    "mouth correction of an unflanged pipe": lambda: UNFLANGED,
    # Over that of a piston in an endless wall, 8a/(3π).
    "gas of a step of the bore": lambda *, radius_ratio: (
        step_length(np.array([radius_ratio]), np.ones(1))[0] / (8 / (3 * np.pi) * radius_ratio)
    ),
    "resonance of a duct of decaying temperature": decaying_resonance,
}
