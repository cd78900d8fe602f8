"""Gas in the pipe: an ideal-gas mixture whose properties follow the local temperature.

Heat capacity is the mole average; viscosity follows Wilke; conductivity follows Wassiljewa with
the combination factors of Mason and Saxena. All three are tabulated once a mixture on a uniform
temperature grid and then read back by a cubic spline, so that a solver gets values and exact
derivatives for the price of a table look-up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.base.constants import GAS_CONSTANT
from warmbranch.base.errors import InputError, PropertyRangeError
from warmbranch.gas.property_table import SPECIES, pure_gases

__all__ = [
    "COLDEST",
    "HOTTEST",
    "SPECIES",
    "Composition",
    "GasState",
    "MixtureTable",
    "check_range",
    "dry_air_table",
    "wilke_factors",
]

COLDEST, HOTTEST = 220.0, 1320.0
"""Temperatures, K, between which the property data are good."""

DRY_AIR = {"N2": 0.7809, "O2": 0.2095, "Ar": 0.0093, "CO2": 0.0004}
"""Mole fractions of dry air, normalised by their sum where used."""

SUM_TOLERANCE = 1e-3
"""How far mole fractions may be from a sum of one: three printed decimals."""


@dataclass(frozen=True)
class Composition(Batched):
    """What the gas is made of.

    Parameters
    ----------
    mole_fractions : (designs, species) array, dimensionless
        In the order of ``SPECIES``; each design sums to 1.
    """

    mole_fractions: FloatArray

    def __post_init__(self) -> None:
        shape = np.shape(self.mole_fractions)
        if len(shape) != 2 or shape[1] != len(SPECIES):
            raise ValueError(f"mole_fractions: shape {shape}, not (designs, {len(SPECIES)})")
        super().__post_init__()

    @classmethod
    def from_mole_fractions(cls, fractions: Mapping[str, float]) -> Composition:
        """One design from named mole fractions, normalised by their sum.

        Parameters
        ----------
        fractions : mapping from a name in ``SPECIES`` to a number >= 0
            Must sum to 1 within ``SUM_TOLERANCE``.
        """
        for name, value in fractions.items():
            if name not in SPECIES:
                raise InputError(
                    "The gas data do not know this species.",
                    field=f"gas.mole_fractions.{name}",
                    value=value,
                    unit="1",
                    remedy=f"Use any of {', '.join(SPECIES)}.",
                )
            if not 0 <= value <= 1 + SUM_TOLERANCE:
                raise InputError(
                    "A mole fraction lies between 0 and 1.",
                    field=f"gas.mole_fractions.{name}",
                    value=value,
                    unit="1",
                    remedy="Give the share of this species, by volume, as a number from 0 to 1.",
                )
        amounts = np.array([[float(fractions.get(name, 0.0)) for name in SPECIES]])
        total = float(amounts.sum())
        if abs(total - 1) > SUM_TOLERANCE:
            raise InputError(
                "The mole fractions do not sum to 1.",
                field="gas.mole_fractions",
                value=total,
                unit="1",
                remedy="Give every species that is there, so that the shares sum to 1.",
            )
        return cls(amounts / total)

    @classmethod
    def dry_air(cls) -> Composition:
        """Dry air, one design."""
        return cls(_dry_air_fractions().copy())

    @property
    def molar_mass(self) -> FloatArray:
        """Molar mass, kg/mol, (designs,)."""
        return self.mole_fractions @ pure_gases().molar_mass

    @property
    def gas_constant(self) -> FloatArray:
        """Specific gas constant, J/(kg K), (designs,)."""
        return GAS_CONSTANT / self.molar_mass


@cache
def _dry_air_fractions() -> FloatArray:
    return Composition.from_mole_fractions(DRY_AIR).mole_fractions


class GasState(NamedTuple):
    """Properties and their temperature derivatives, each (designs, nodes).

    Parameters
    ----------
    heat_capacity : J/(kg K)
        At constant pressure.
    conductivity : W/(m K)
    viscosity : Pa s
    heat_capacity_slope, conductivity_slope, viscosity_slope : the same units per K
    """

    heat_capacity: FloatArray
    conductivity: FloatArray
    viscosity: FloatArray
    heat_capacity_slope: FloatArray
    conductivity_slope: FloatArray
    viscosity_slope: FloatArray


class MixtureTable:
    """Properties of a batch of mixtures against temperature.

    Make one with ``MixtureTable.of``. ``coefficients`` has the shape (4, 3, designs, pieces):
    power of the kelvin above the piece's lower node, property (heat capacity, conductivity,
    viscosity), design, piece of the spline.
    """

    __slots__ = ("_coefficients", "_first_piece", "_packed", "_pieces", "gas_constant")

    def __init__(self, coefficients: FloatArray, gas_constant: FloatArray) -> None:
        self._coefficients: FloatArray | None = np.ascontiguousarray(coefficients)
        self._packed: FloatArray | None = None
        self._fit(coefficients.shape[3], gas_constant)

    @classmethod
    def _of_packed(cls, packed: FloatArray, gas_constant: FloatArray) -> MixtureTable:
        made = object.__new__(cls)
        made._coefficients, made._packed = None, packed
        made._fit(packed.shape[1], gas_constant)
        return made

    def _fit(self, pieces: int, gas_constant: FloatArray) -> None:
        self._pieces, self.gas_constant = pieces, gas_constant
        self._first_piece: NDArray[np.intp] = np.arange(len(gas_constant))[:, None] * pieces

    @property
    def _flat(self) -> FloatArray:
        """The coefficients with design and piece in one, (4, 3, designs × pieces)."""
        if self._coefficients is None:
            assert self._packed is not None
            by_piece = self._packed.reshape(len(self), self._pieces, 3, 4)
            self._coefficients = np.ascontiguousarray(by_piece.transpose(3, 2, 0, 1))
        return self._coefficients.reshape(4, 3, -1)

    @property
    def packed(self) -> FloatArray:
        """The coefficients as the core wants them, (designs, pieces, 3 properties × 4)."""
        if self._packed is None:
            assert self._coefficients is not None
            by_piece = self._coefficients.transpose(2, 3, 1, 0)
            self._packed = np.ascontiguousarray(by_piece).reshape(len(self), self._pieces, 12)
        return self._packed

    @property
    def grid(self) -> tuple[float, float]:
        """Lowest temperature of the table and its step, K."""
        return _grid()

    @classmethod
    def of(cls, composition: Composition) -> MixtureTable:
        """Tabulate mixtures; a batch of one is remembered, for services that meet it again."""
        if len(composition) == 1:
            return _remembered_table(composition.mole_fractions.tobytes())
        return _tabulate(composition)

    def __len__(self) -> int:
        return len(self.gas_constant)

    def take(self, index: NDArray[np.intp] | NDArray[np.bool_] | slice) -> MixtureTable:
        """Select designs; a slice of them shares the memory."""
        chosen = index if isinstance(index, slice) else np.arange(len(self))[index]
        if self._packed is not None:  # the other form is seldom asked for, and then soon made
            return MixtureTable._of_packed(self._packed[chosen], self.gas_constant[chosen])
        assert self._coefficients is not None
        return MixtureTable(self._coefficients[:, :, chosen], self.gas_constant[chosen])

    def evaluate(self, temperature: FloatArray) -> GasState:
        """Properties at ``temperature`` (designs, nodes), K.

        Outside the table the end pieces of the spline go on, so a solver's iterate that strays a
        little meets a smooth function; use ``check_range`` on what a user gives.
        """
        value, slope = self.values_and_slopes(temperature)
        return GasState(value[0], value[1], value[2], slope[0], slope[1], slope[2])

    def values_and_slopes(self, temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What :meth:`evaluate` tells, each three in one array, (3, designs, nodes)."""
        piece, local = self._locate(temperature)
        c0, c1, c2, c3 = self._flat.take(piece, axis=2, mode="clip")
        # Horner for value and slope at once, in place: this is the innermost loop of the solver.
        slope = c3 * local
        c2 += slope
        slope += c2
        value = c2 * local
        value += c1
        slope *= local
        slope += value
        value *= local
        value += c0
        return value, slope

    def heat_capacity(self, temperature: FloatArray) -> FloatArray:
        """Heat capacity at constant pressure, J/(kg K), (designs, nodes)."""
        piece, local = self._locate(temperature)
        c0, c1, c2, c3 = self._flat[:, 0].take(piece, axis=1, mode="clip")
        return ((c3 * local + c2) * local + c1) * local + c0

    def heat_capacity_ratio(self, temperature: FloatArray) -> FloatArray:
        """Ratio of heat capacities, dimensionless, (designs, nodes)."""
        heat_capacity = self.heat_capacity(temperature)
        return heat_capacity / (heat_capacity - self.gas_constant[:, None])

    def sound_speed(self, temperature: FloatArray) -> FloatArray:
        """Speed of sound, m/s, (designs, nodes)."""
        ratio = self.heat_capacity_ratio(temperature)
        return np.sqrt(ratio * self.gas_constant[:, None] * temperature)

    def density(self, temperature: FloatArray, pressure: FloatArray) -> FloatArray:
        """Density, kg/m³, (designs, nodes), at ``pressure`` (designs,), Pa."""
        return np.asarray(pressure)[..., None] / (self.gas_constant[:, None] * temperature)

    def _locate(self, temperature: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
        """Piece of the spline, as an index into ``_flat``, and kelvin from its lower node."""
        first, step = _grid()
        local = temperature - first
        piece: NDArray[np.intp] = (local * (1 / step)).astype(np.intp)
        np.maximum(piece, 0, out=piece)
        np.minimum(piece, self._pieces - 1, out=piece)
        local -= piece * step
        if len(self) > 1:
            np.add(piece, self._first_piece, out=piece)
        return piece, local


class _Grid(NamedTuple):
    first: float
    step: float


@lru_cache(maxsize=1)
def _grid() -> _Grid:
    temperature = pure_gases().temperature
    return _Grid(float(temperature[0]), float(temperature[1] - temperature[0]))


def _tabulate(composition: Composition) -> MixtureTable:
    values = _mixture_properties(composition.mole_fractions)
    return MixtureTable(_spline(values), composition.gas_constant)


@lru_cache(maxsize=256)
def _remembered_table(fractions: bytes) -> MixtureTable:
    return _tabulate(Composition(np.frombuffer(fractions).reshape(1, -1)))


@lru_cache(maxsize=1)
def dry_air_table() -> MixtureTable:
    """Table of dry air, one design."""
    return MixtureTable.of(Composition.dry_air())


def check_range(temperature: FloatArray | float, field: str = "gas_temperature") -> None:
    """Raise unless all of ``temperature``, K, lies between ``COLDEST`` and ``HOTTEST``."""
    given = np.atleast_1d(np.asarray(temperature, dtype=np.float64))
    wrong = given[~((given >= COLDEST) & (given <= HOTTEST))]
    if wrong.size:
        raise PropertyRangeError(
            "The gas data do not reach this temperature.",
            field=field,
            value=float(wrong[0]),
            unit="K",
            remedy=f"Give a temperature from {COLDEST:g} to {HOTTEST:g} K.",
        )


def _mixture_properties(fractions: FloatArray) -> FloatArray:
    """Heat capacity, conductivity and viscosity on the grid, (3, designs, nodes)."""
    gases = pure_gases()
    molar_mass = fractions @ gases.molar_mass
    heat_capacity = (fractions @ gases.molar_heat_capacity.T) / molar_mass[:, None]
    # (nodes, designs, species): what each species' own value is divided by.
    weights = fractions / (fractions @ _combination_factors())
    # einsum over species, leaving (designs, nodes).
    conductivity = np.einsum("ndi,ni->dn", weights, gases.conductivity)
    viscosity = np.einsum("ndi,ni->dn", weights, gases.viscosity)
    return np.stack([heat_capacity, conductivity, viscosity])


@lru_cache(maxsize=1)
def _combination_factors() -> FloatArray:
    """Wilke's factors on the grid, (nodes, j, i): ready to be multiplied by fractions of ``j``."""
    gases = pure_gases()
    return wilke_factors(gases.viscosity, gases.molar_mass).transpose(0, 2, 1).copy()


def wilke_factors(viscosity: FloatArray, molar_mass: FloatArray) -> FloatArray:
    r"""Combination factors of a gas mixture.

    .. math:: \phi_{ij} = \frac{[1 + (\mu_i/\mu_j)^{1/2} (M_j/M_i)^{1/4}]^2}
                               {[8 (1 + M_i/M_j)]^{1/2}},\qquad
              \mu = \sum_i \frac{x_i \mu_i}{\sum_j x_j \phi_{ij}}

    The conductivity mixes by the same numbers: the factors of Mason and Saxena, with their
    ``ε = 1`` and the ratio of translational conductivities ``μ_i M_j / (μ_j M_i)``, are these.

    Parameters
    ----------
    viscosity : (..., species) array, any unit
    molar_mass : (species,) array, any unit

    Returns
    -------
    (..., i, j) array, dimensionless

    Valid for
    ---------
    Low density. Polar species (water vapour) mix less well: viscosity within 2 % and
    conductivity within 8 % of kinetic theory for exhaust gas.

    Check
    -----
    fixtures/published/BirdStewartLightfoot2002.toml, a worked mixture; Cantera's mixtures in
    tests/models/gas/test_gas.py.

    Source
    ------
    Viscosity: Wilke (1950), as in [BirdStewartLightfoot2002]. Conductivity: Wassiljewa (1904),
    Mason & Saxena (1958); ``ε = 1`` as preferred by Poling, Prausnitz & O'Connell, The Properties
    of Gases and Liquids (2001). From memory.
    """
    viscosity_ratio = viscosity[..., :, None] / viscosity[..., None, :]
    mass_ratio = molar_mass[:, None] / molar_mass[None, :]
    factors: FloatArray = np.square(1 + np.sqrt(viscosity_ratio) * mass_ratio**-0.25) / np.sqrt(
        8 * (1 + mass_ratio)
    )
    return factors


def _spline(values: FloatArray) -> FloatArray:
    """Coefficients (4, 3, designs, pieces) of the cubic spline through ``values``."""
    step = _grid().step
    slope = values @ _slope_operator()
    low, slope_low, slope_high = values[..., :-1], slope[..., :-1], slope[..., 1:]
    chord = (values[..., 1:] - low) * (1 / step)
    return np.stack(
        [
            low,
            slope_low,
            (3 * chord - 2 * slope_low - slope_high) * (1 / step),
            (slope_low + slope_high - 2 * chord) * (1 / step**2),
        ]
    )


@lru_cache(maxsize=1)
def _slope_operator() -> FloatArray:
    """Matrix that turns node values into slopes of the not-a-knot cubic spline."""
    count = len(pure_gases().temperature)
    left, right = np.zeros((count, count)), np.zeros((count, count))
    for i in range(1, count - 1):
        left[i, i - 1 : i + 2] = (1, 4, 1)
        right[i, i - 1 : i + 2] = (-3, 0, 3)
    # Third derivative continuous at the second and the last but one node.
    left[0, :3], right[0, :3] = (1, 0, -1), (-2, 4, -2)
    left[-1, -3:], right[-1, -3:] = (1, 0, -1), (-2, 4, -2)
    return np.asarray(np.linalg.solve(left, right).T / _grid().step, dtype=np.float64)
