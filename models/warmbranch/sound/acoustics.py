"""A closed duct whose gas changes along it, seen from its mouth.

Conventions as in viscothermal.py. Heat loss and surroundings are unknown here: a temperature
profile and a gas are all that this module is told.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np

from warmbranch import core
from warmbranch.base.batch import Batched, BoolArray, ComplexArray, FloatArray
from warmbranch.core import calls
from warmbranch.gas.gas import MixtureTable
from warmbranch.sound.mouth import flow_share
from warmbranch.sound.viscothermal import line, wall_layers

FEW = 8
"""Designs up to which plain numbers are quicker than arrays as short as that."""


@dataclass(frozen=True)
class Duct(Batched):
    """A batch of closed ducts, divided into cells from mouth to cap.

    The gas within a cell is described by its means and by ``skew``, how unevenly inertance and
    compliance are spread, which makes the cell's matrix exact to fourth order in its length.

    Parameters
    ----------
    cell_length : (designs, cells) array, m
    density, bulk_modulus, viscosity, heat_capacity_ratio, prandtl : (designs, cells) array
        kg/m³, Pa (γ P₀), Pa s, dimensionless twice.
    inertance_ratio : (designs, cells) array, dimensionless
        Inertance over that of a straight tube; below 1 in bends.
    skew : (designs, cells) array, dimensionless
        First moment about the middle of compliance less that of inertance, each over its mean and
        over the length; 0 where the gas is uniform.
    radius : (designs,) array, m
        Of the bore at the mouth.
    mouth_inertance : (designs,) array, kg/m⁴
        Of the main-pipe gas that swings with the branch, without flow.
    wall_losses : (designs,) array of bool
    area_ratio : (designs, cells) array, dimensionless
        Section over that at the mouth. A cell of another section is told as one of the mouth's
        with gas that is to it the same: density and bulk modulus over the ratio, viscosity over
        its square.
    grazed_inertance : (designs,) array, kg/m⁴
        What ``mouth.flow_share`` takes of the mouth's.
    crossing_time : (designs,) array, s
        In which the main flow crosses the mouth; infinite where it stands.
    """

    cell_length: FloatArray
    density: FloatArray
    bulk_modulus: FloatArray
    viscosity: FloatArray
    heat_capacity_ratio: FloatArray
    prandtl: FloatArray
    inertance_ratio: FloatArray
    skew: FloatArray
    radius: FloatArray
    mouth_inertance: FloatArray
    wall_losses: BoolArray
    area_ratio: FloatArray = field(default_factory=lambda: np.ones((1, 1)))
    grazed_inertance: FloatArray = field(default_factory=lambda: np.zeros(1))
    crossing_time: FloatArray = field(default_factory=lambda: np.full(1, np.inf))

    @cached_property
    def columns(self) -> _Columns:
        """The cells with the design in the middle, as broadcasting over frequencies wants."""

        def column(value: FloatArray) -> FloatArray:
            return np.ascontiguousarray(value.T)[:, :, None]

        density, bulk, prandtl = (
            column(value) for value in (self.density, self.bulk_modulus, self.prandtl)
        )
        radius, lossy = self.radius[None, :, None], self.wall_losses[None, :, None]
        length = column(self.cell_length)
        return _Columns(
            density=density,
            bulk_modulus=bulk,
            layers=wall_layers(density, column(self.viscosity), prandtl, radius, lossy),
            thermal=column(self.heat_capacity_ratio) - 1,
            radius=radius,
            length=length,
            inertance=length * column(self.inertance_ratio),
            skew=column(self.skew),
        )

    @property
    def area(self) -> FloatArray:
        """Section of the bore, (designs,), m²."""
        return np.pi * self.radius**2

    @property
    def transit_time(self) -> FloatArray:
        """Sum of local travel times from mouth to cap, ``∫dx/c``, (designs,), s."""
        return np.sum(self.cell_length * np.sqrt(self.density / self.bulk_modulus), axis=1)

    def mouth_reactance(self, frequency: FloatArray) -> FloatArray:
        """Of the main-pipe gas that swings with the branch, at (designs, n) Hz; Pa s/m³."""
        with np.errstate(over="ignore"):
            share = flow_share(frequency * self.crossing_time[:, None])
        held = self.mouth_inertance[:, None] - self.grazed_inertance[:, None] * share
        return 2 * np.pi * frequency * held

    @property
    def mouth_impedance(self) -> FloatArray:
        """Characteristic impedance ρ c / S of the first cell, (designs,), Pa s/m³."""
        return np.sqrt(self.density[:, 0] * self.bulk_modulus[:, 0]) / self.area


class _Columns(NamedTuple):
    """A duct's cells as the matrices want them, (cells, designs, 1), but for ``layers``."""

    density: FloatArray
    bulk_modulus: FloatArray
    layers: FloatArray
    thermal: FloatArray
    radius: FloatArray
    length: FloatArray
    inertance: FloatArray
    skew: FloatArray


def uniform_duct(
    like: Duct, gas: MixtureTable, temperature: FloatArray, pressure: FloatArray
) -> Duct:
    """The same duct filled with gas of one temperature, (designs,), K."""
    filling = _Filling.of(gas, temperature, pressure)
    everywhere, area = np.ones_like(like.cell_length), like.area_ratio
    return Duct.of_parts(
        cell_length=like.cell_length,
        density=filling.density / area * everywhere,
        bulk_modulus=filling.bulk_modulus / area * everywhere,
        viscosity=filling.viscosity / np.square(area) * everywhere,
        heat_capacity_ratio=filling.heat_capacity_ratio * everywhere,
        prandtl=filling.prandtl * everywhere,
        inertance_ratio=like.inertance_ratio,
        skew=np.zeros_like(everywhere),
        radius=like.radius,
        mouth_inertance=like.mouth_inertance,
        wall_losses=like.wall_losses,
        area_ratio=area,
        grazed_inertance=like.grazed_inertance,
        crossing_time=like.crossing_time,
    )


def uniform_tube(
    like: Duct,
    gas: MixtureTable,
    temperature: FloatArray,
    pressure: FloatArray,
    frequency: FloatArray,
) -> tuple[ComplexArray, FloatArray]:
    """Impedance at the mouth, its inertance included, and ρ c / S, both (designs, n), Pa s/m³.

    As :func:`input_impedance` of :func:`uniform_duct`, for a duct without bends and steps: there
    the closed form ``Z coth ΓL`` stands in for the chain of cells.
    """
    filling = _Filling.of(gas, temperature, pressure)
    density, bulk_modulus = filling.density, filling.bulk_modulus
    radius, lossy = like.radius[:, None], like.wall_losses[:, None]
    layers = wall_layers(density, filling.viscosity, filling.prandtl, radius, lossy)
    thermal = filling.heat_capacity_ratio - 1
    impedance, admittance = line(frequency, density, bulk_modulus, layers, thermal, radius)
    length = like.cell_length.sum(axis=1)[:, None]
    tube = np.sqrt(impedance / admittance) / np.tanh(np.sqrt(impedance * admittance) * length)
    own = np.sqrt(density * bulk_modulus) / (np.pi * np.square(radius))
    return tube + 1j * like.mouth_reactance(frequency), own


class _Filling(NamedTuple):
    """What a duct needs to know of gas of one temperature, each (designs, 1): see ``Duct``."""

    density: FloatArray
    bulk_modulus: FloatArray
    viscosity: FloatArray
    heat_capacity_ratio: FloatArray
    prandtl: FloatArray

    @classmethod
    def of(cls, gas: MixtureTable, temperature: FloatArray, pressure: FloatArray) -> _Filling:
        hot = temperature[:, None]
        state = gas.evaluate(hot)
        ratio = state.heat_capacity / (state.heat_capacity - gas.gas_constant[:, None])
        return cls(
            density=gas.density(hot, pressure),
            bulk_modulus=ratio * pressure[:, None],
            viscosity=state.viscosity,
            heat_capacity_ratio=ratio,
            prandtl=state.heat_capacity * state.viscosity / state.conductivity,
        )


def input_impedance(duct: Duct, frequency: FloatArray) -> ComplexArray:
    """Impedance ``p/U`` of the closed duct at its mouth, the mouth's inertance included.

    Parameters
    ----------
    duct : Duct
    frequency : (designs, frequencies) array, Hz
        ``> 0``.

    Returns
    -------
    (designs, frequencies) complex array, Pa s/m³

    Valid for
    ---------
    Plane waves: below ``1.84 c / (2π a)``. Exact for a duct that is uniform within each cell,
    of fourth order in the cells' length for one that is not.

    Check
    -----
    Exact solutions of the duct with a linear temperature gradient [SujithWaldherrZinn1995], with
    order of convergence, in tests/models/sound/test_acoustics.py.
    """
    compiled = core.at_hand()
    if compiled is not None:
        return calls.mouth_impedance(compiled, duct, frequency)
    tube, _ = tube_impedance(duct, frequency)
    return tube + 1j * duct.mouth_reactance(frequency)


def tube_impedance(duct: Duct, frequency: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """Impedance without the mouth's inertance, and the phase travelled from mouth to cap.

    Parameters
    ----------
    duct : Duct
    frequency : (designs, frequencies) array, Hz

    Returns
    -------
    two (designs, frequencies) arrays; Pa s/m³ and rad
    """
    matrices, phase = _cell_matrices(duct, frequency)
    # At the cap U = 0, so the first column of the chain is (p, U) at the mouth for p = 1.
    pressure, volume = _chain(matrices)[:, 0]
    return pressure / volume, phase.imag.sum(axis=0)


def standing_wave(duct: Duct, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """Pressure and volume velocity at the cells' edges for a volume velocity of 1 at the mouth.

    Parameters
    ----------
    duct : Duct
    frequency : (designs,) array, Hz

    Returns
    -------
    two (designs, cells + 1) complex arrays; Pa s/m³ and dimensionless
    """
    (a, b), (c, d) = _cell_matrices(duct, frequency[:, None])[0][..., 0]
    cells, designs = a.shape
    p = np.empty((cells + 1, designs), dtype=np.complex128)
    u = np.empty_like(p)
    if designs <= FEW:
        for k in range(designs):
            p[:, k], u[:, k] = _from_cap(*(part[:, k].tolist() for part in (a, b, c, d)))
        return (p / u[0]).T, (u / u[0]).T
    p[-1], u[-1] = 1.0, 0.0
    for i in range(cells - 1, -1, -1):
        p[i] = a[i] * p[i + 1] + b[i] * u[i + 1]
        u[i] = c[i] * p[i + 1] + d[i] * u[i + 1]
    return (p / u[0]).T, (u / u[0]).T


def flow(duct: Duct, frequency: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """Impedance at the mouth, its inertance included, and the size of the flow along the duct.

    Parameters
    ----------
    duct : Duct
    frequency : (designs,) array, Hz

    Returns
    -------
    impedance : (designs,) complex array, Pa s/m³
    size : (designs, cells + 1) array, dimensionless
        Of the volume velocity at the cells' edges, for one of 1 at the mouth.
    """
    compiled = core.at_hand()
    if compiled is not None:
        return calls.flow(compiled, duct, frequency)
    pressure, volume = standing_wave(duct, frequency)
    at_mouth = duct.mouth_reactance(frequency[:, None])[:, 0]
    return pressure[:, 0] + 1j * at_mouth, np.abs(volume)


def _from_cap(
    a: list[complex], b: list[complex], c: list[complex], d: list[complex]
) -> tuple[list[complex], list[complex]]:
    """One design's pressures and flows at the cells' edges, for a pressure of 1 at the cap."""
    p, u = [1 + 0j], [0j]
    for a_i, b_i, c_i, d_i in zip(reversed(a), reversed(b), reversed(c), reversed(d), strict=True):
        before, flow = p[-1], u[-1]
        p.append(a_i * before + b_i * flow)
        u.append(c_i * before + d_i * flow)
    return p[::-1], u[::-1]


def transmission_loss(branch: ComplexArray, main_pipe: FloatArray) -> FloatArray:
    r"""Transmission loss of a side branch on a pipe without reflections, dB.

    .. math:: TL = 20 \log_{10} |1 + Z_{main} / (2 Z_{branch})|

    Parameters
    ----------
    branch : complex array, Pa s/m³
        Input impedance, mouth included.
    main_pipe : array, Pa s/m³
        ρ c / S of the main pipe.

    Valid for
    ---------
    Plane waves and slow flow in the main pipe. Infinite where the branch's impedance is zero: at
    the resonance of one without losses.

    Source
    ------
    Munjal, Acoustics of Ducts and Mufflers; formula from memory and derived.
    """
    with np.errstate(divide="ignore"):
        return 20 * np.log10(np.abs(2 * branch + main_pipe) / np.abs(2 * branch))


def _cell_matrices(duct: Duct, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    """Transfer matrices (p, U) mouth side ← (p, U) cap side, and the propagation through each.

    (2, 2, cells, designs, frequencies) and (cells, designs, frequencies).
    """
    cell = duct.columns
    f = frequency[None]
    impedance, admittance = line(
        f, cell.density, cell.bulk_modulus, cell.layers, cell.thermal, cell.radius
    )
    impedance *= cell.inertance
    admittance *= cell.length
    # Fourth-order Magnus expansion: the commutator of inertance and compliance is diagonal.
    squared = impedance * admittance
    tilt = squared * cell.skew
    phase = np.sqrt(squared + tilt * tilt)
    grown = np.exp(phase)
    shrunk = 1 / grown
    even, odd = (grown + shrunk) * 0.5, (grown - shrunk) / (2 * phase)
    tilt *= odd
    matrices = np.empty((2, 2, *phase.shape), dtype=np.complex128)
    np.add(even, tilt, out=matrices[0, 0])
    np.multiply(impedance, odd, out=matrices[0, 1])
    np.multiply(admittance, odd, out=matrices[1, 0])
    np.subtract(even, tilt, out=matrices[1, 1])
    return matrices, phase


def _chain(matrices: ComplexArray) -> ComplexArray:
    """Product of matrices (2, 2, cells, ...), pairs first: a few operations on large arrays."""
    while matrices.shape[2] > 1:
        paired = matrices.shape[2] // 2 * 2
        left, right = matrices[:, :, :paired:2], matrices[:, :, 1:paired:2]
        product = left[:, :1] * right[:1]
        product += left[:, 1:] * right[1:]
        if paired < matrices.shape[2]:  # the one that has no partner
            product = np.concatenate([product, matrices[:, :, -1:]], axis=2)
        matrices = product
    return matrices[:, :, 0]
