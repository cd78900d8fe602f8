"""From a temperature profile to the cells of a duct."""

from __future__ import annotations

import numpy as np

from warmbranch import core
from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.core import calls
from warmbranch.core.calls import CellMeans
from warmbranch.gas.gas import MixtureTable
from warmbranch.gas.moist import dried_gas, water_table
from warmbranch.sound.acoustics import Duct

CELLS = 32
"""Cells of the default duct. Within a cell the gas is uniform, at the cell's means."""


def duct(
    position: FloatArray,
    temperature: FloatArray,
    gas: MixtureTable,
    pressure: FloatArray,
    *,
    radius: FloatArray,
    inertance_ratio: FloatArray,
    mouth_inertance: FloatArray,
    wall_losses: BoolArray,
    wall: FloatArray | None = None,
    dried: FloatArray | None = None,
    cells: int = CELLS,
    area_ratio: FloatArray | None = None,
    grazed_inertance: FloatArray | None = None,
    crossing_time: FloatArray | None = None,
) -> Duct:
    """Divide a temperature profile into cells.

    Parameters
    ----------
    position, temperature : (designs, nodes) array; m, K
        ``nodes − 1`` must be a multiple of ``cells``.
    gas : MixtureTable
        One mixture a design.
    pressure : (designs,) array, Pa
    radius, mouth_inertance, wall_losses : (designs,) array
    inertance_ratio : (designs, nodes − 1) array, dimensionless
        Of each interval between nodes.
    wall : (designs, nodes) array, K, optional
        The wall's temperature, which the layers of the sound have; the gas's unless given. They
        are some 0.3 mm thin, where the film of heat measures millimetres.
    dried : (designs, nodes) array, mol/mol, optional
        Water that a mole of the gas has lost; none unless given.
    cells : int
    area_ratio : (designs, nodes − 1) array, dimensionless, optional
        Section over that at the mouth; its inverse is in ``inertance_ratio`` already.
    grazed_inertance, crossing_time : (designs,) array, optional
        See ``Duct``; without them no flow passes the mouth.

    Returns
    -------
    Duct
        Its cells hold the integrals of inertance and compliance over the profile, to
        fourth order in the spacing, so that coarse cells lose neither mass nor stiffness.
    """
    intervals = position.shape[1] - 1
    if intervals % cells:
        raise ValueError(f"{intervals} intervals do not divide into {cells} cells")
    compiled = core.at_hand()
    lost = np.zeros_like(temperature) if dried is None else dried
    given = position, temperature, temperature if wall is None else wall, lost, pressure
    if compiled is not None:
        rest = inertance_ratio, cells, area_ratio
        means = calls.discretise(compiled, gas, water_table(), *given, *rest)
    else:
        means = _discretise(gas, *given, inertance_ratio, cells, area_ratio)
    still = np.zeros(len(position))
    return Duct.of_parts(
        cell_length=means.length,
        density=means.density,
        bulk_modulus=means.bulk_modulus,
        viscosity=means.viscosity,
        heat_capacity_ratio=means.heat_capacity_ratio,
        prandtl=means.prandtl,
        inertance_ratio=means.inertance_ratio,
        skew=means.skew,
        radius=radius,
        mouth_inertance=mouth_inertance,
        wall_losses=wall_losses,
        area_ratio=means.area_ratio,
        grazed_inertance=still if grazed_inertance is None else grazed_inertance,
        crossing_time=np.full_like(still, np.inf) if crossing_time is None else crossing_time,
    )


def _discretise(
    gas: MixtureTable,
    position: FloatArray,
    temperature: FloatArray,
    wall: FloatArray,
    dried: FloatArray,
    pressure: FloatArray,
    inertance_ratio: FloatArray,
    cells: int,
    area_ratio: FloatArray | None,
) -> CellMeans:
    designs, nodes = position.shape
    intervals = nodes - 1
    inside, layers = dried_gas(gas, temperature, dried), dried_gas(gas, wall, dried)
    density = pressure[:, None] / (inside.gas_constant * temperature)
    step = position[:, 1:] - position[:, :-1]
    per_cell = intervals // cells
    length = step.reshape(designs, cells, per_cell).sum(axis=2)

    def mean(products: FloatArray) -> FloatArray:
        """Over the cells, of quantities times lengths in the intervals."""
        gathered = products.reshape(*products.shape[:-1], cells, per_cell)
        return gathered.sum(axis=-1) / length

    compliance = 1 / (inside.heat_capacity_ratio * pressure[:, None])
    # The layers' kinematic viscosity times the gas's density, with which they are paired.
    viscosity = layers.viscosity * wall / temperature
    ratio = layers.heat_capacity_ratio
    prandtl = layers.heat_capacity * layers.viscosity / layers.conductivity
    # All in one array: on short profiles the number of operations is what costs.
    at_nodes = np.array([density, compliance, viscosity, ratio, prandtl])
    within = _interval_means(at_nodes, step)
    mean_density, mean_compliance, viscosity, mean_ratio, mean_prandtl = mean(within * step)
    # Of compliance and of inertance, whose lengths a bend shortens.
    weight = np.array([step, step * inertance_ratio])
    area = np.ones_like(length)
    if area_ratio is not None:
        weight[0] = weight[0] * area_ratio
        area, mean_compliance = mean(weight[0]), mean(within[1] * weight[0])
        mean_density, viscosity = mean_density / area, viscosity / np.square(area)
    mean_inertia = mean(within[0] * weight[1])
    # First moments about each cell's middle of quantities that are linear between nodes.
    middle = (position[:, :-1:per_cell] + position[:, per_cell::per_cell]) / 2
    arm = (position[:, 1:] + position[:, :-1]) / 2 - np.repeat(middle, per_cell, axis=1)
    backwards = at_nodes[1::-1]
    tilt = (backwards[:, :, 1:] - backwards[:, :, :-1]) * (step / 12)
    levers = mean((within[1::-1] * arm + tilt) * weight)
    skew = levers[0] / mean_compliance - levers[1] / mean_inertia
    return CellMeans(
        density=mean_density,
        bulk_modulus=1 / mean_compliance,
        viscosity=viscosity,
        heat_capacity_ratio=mean_ratio,
        prandtl=mean_prandtl,
        length=length,
        inertance_ratio=mean_inertia / mean_density,
        skew=skew / length,
        area_ratio=area,
    )


def _interval_means(node_values: FloatArray, step: FloatArray) -> FloatArray:
    """Means over the intervals between nodes of a smooth quantity known at the nodes.

    The mean of the ends less a twelfth of the second difference, of fourth order on a grid whose
    spacing changes smoothly; the outermost intervals take their neighbours' second difference.
    Plain means of the ends on fewer than three intervals.

    Parameters
    ----------
    node_values : (..., designs, nodes) array
    step : (designs, nodes − 1) array, m

    Returns
    -------
    (..., designs, nodes − 1) array

    Source
    ------
    Gregory's correction of the trapezoidal rule, with the grid as a map of evenly spaced numbers:
    the second difference holds the map's own curvature too, which is taken off.
    """
    ends = (node_values[..., 1:] + node_values[..., :-1]) / 2
    if step.shape[1] < 3:
        return ends
    rise = node_values[..., 1:] - node_values[..., :-1]
    bend = np.empty_like(node_values)
    np.subtract(rise[..., 1:], rise[..., :-1], out=bend[..., 1:-1])
    bend[..., 0], bend[..., -1] = bend[..., 1], bend[..., -2]
    growth = np.empty_like(step)
    np.divide(step[:, 2:] - step[:, :-2], step[:, 1:-1], out=growth[:, 1:-1])
    growth[:, 0], growth[:, -1] = growth[:, 1], growth[:, -2]
    rise *= growth
    rise -= bend[..., 1:]
    rise -= bend[..., :-1]
    rise *= 1 / 24
    ends += rise
    return ends
