"""Convection from the skin to the air, by correlation or by a fixed coefficient.

Air properties are those at the film temperature, the mean of skin and air; the expansion
coefficient of an ideal gas is one over it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.base.constants import GRAVITY
from warmbranch.case.surroundings import Surroundings
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.nusselt_with_slopes import (
    LEVEL_PRANDTL,
    LEVEL_STILL,
    sloped_churchill_chu,
    sloped_cross_flow,
    sloped_vertical_cylinder,
)


class FilmRange(NamedTuple):
    """How far a film was from the ends of its correlations; one value a design.

    Parameters
    ----------
    rayleigh_max : (designs,) array, dimensionless
        Largest along the tube, on the length that its correlation uses.
    reynolds_max : (designs,) array, dimensionless
        0 in still air.
    peclet_min : (designs,) array, dimensionless
        Smallest Re Pr; infinite in still air.
    """

    rayleigh_max: FloatArray
    reynolds_max: FloatArray
    peclet_min: FloatArray


class _Air(NamedTuple):
    """Air at film temperature.

    Every ``*_change`` is the excess times d ln(quantity)/d(skin temperature). That product stays
    finite where the excess is nil, although the slope of ln Ra alone does not.
    """

    temperature: FloatArray
    conductivity: FloatArray
    viscosity: FloatArray
    prandtl: FloatArray
    rayleigh_over_length_cubed: FloatArray
    temperature_change: FloatArray
    conductivity_change: FloatArray
    viscosity_change: FloatArray
    prandtl_change: FloatArray
    rayleigh_change: FloatArray


class OutsideFilm:
    r"""Convection from the skin of a batch of tubes to the air.

    Natural convection of a tube that rises by the angle φ is taken as
    ``cos²φ`` of a level tube's film and ``sin²φ`` of an upright one's: our assumption, right at
    both ends. Natural and forced convection join as ``h⁴ = h_natural⁴ + h_forced⁴``, the
    exponent suggested for flow across cylinders; in still air nothing is forced.

    Parameters
    ----------
    air : MixtureTable
        Properties of air, one design.
    surroundings : Surroundings
    outside_diameter, length : (designs,) array, m
        Of the outermost surface; the length is the height that an upright tube offers. The
        diameter also (designs, nodes).
    rise : (designs,) array, rad
    factor : (designs,) array, dimensionless
        Multiplies the film.
    fixed : (designs,) array, W/(m² K)
        Replaces the film, or NaN.

    Valid for
    ---------
    Film temperatures that the air table covers. :meth:`range_report` tells how near the
    correlations are to their ends.

    Check
    -----
    Slope against central differences, value against the library ``ht`` and worked textbook
    examples, in tests/models/heat/test_films.py.

    Source
    ------
    [ChurchillChu1975], [Popiel2008], [ChurchillBernstein1977]; the exponent 4: Incropera,
    chapter 9, from memory.
    """

    def __init__(
        self,
        air: MixtureTable,
        surroundings: Surroundings,
        outside_diameter: FloatArray,
        length: FloatArray,
        rise: FloatArray,
        factor: FloatArray,
        fixed: FloatArray,
    ) -> None:
        self._air = air
        self._air_temperature = surroundings.air_temperature[:, None]
        self._speed = surroundings.air_speed[:, None]
        self._diameter = outside_diameter.reshape(len(outside_diameter), -1)
        self._length = length[:, None]
        self._diameter_cubed = self._diameter**3
        self._length_cubed = self._length**3
        self._slenderness = self._length / self._diameter
        self._upright: FloatArray = np.square(np.sin(rise))[:, None]
        self._factor_over_diameter = factor[:, None] / self._diameter
        self._fixed = fixed[:, None]
        self._is_fixed: BoolArray = np.isfinite(self._fixed)
        density_times_temperature = surroundings.pressure[:, None] / air.gas_constant[0]
        self._buoyancy: FloatArray = GRAVITY * np.square(density_times_temperature)
        self._mass_flux_times_temperature = self._speed * density_times_temperature
        self._blown: FloatArray = (self._speed > 0).astype(np.float64)
        self._any_blown = bool(np.any(self._blown))
        self._any_upright = bool(np.any(self._upright > 0))
        self._any_fixed = bool(np.any(self._is_fixed))
        self._all_fixed = bool(np.all(self._is_fixed))

    def coefficient(self, skin_temperature: FloatArray) -> FloatArray:
        """Film coefficient.

        Parameters
        ----------
        skin_temperature : (designs, nodes) array, K

        Returns
        -------
        (designs, nodes) array, W/(m² K)
        """
        return self._coefficient(skin_temperature)[0]

    def flux(self, skin_temperature: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Heat that convection carries off, and its exact slope.

        Parameters
        ----------
        skin_temperature : (designs, nodes) array, K

        Returns
        -------
        flux : (designs, nodes) array, W/m²
            Positive when the skin is warmer than the air.
        slope : (designs, nodes) array, W/(m² K)
            Derivative of ``flux`` with respect to the skin temperature.
        """
        coefficient, growth = self._coefficient(skin_temperature)
        return coefficient * (skin_temperature - self._air_temperature), coefficient + growth

    def range_report(self, skin_temperature: FloatArray) -> FilmRange:
        """How near the correlations are to their ends at these skin temperatures."""
        air = self._at(skin_temperature)
        height = np.where(self._upright > 0, self._length, self._diameter)
        rayleigh = air.rayleigh_over_length_cubed * height**3
        reynolds = self._reynolds(air)
        peclet = np.where(self._blown > 0, reynolds * air.prandtl, np.inf)
        return FilmRange(rayleigh.max(axis=1), reynolds.max(axis=1), peclet.min(axis=1))

    def _coefficient(self, skin: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Film coefficient h, and (skin − air) dh/d(skin)."""
        if self._all_fixed:
            return np.broadcast_to(self._fixed, skin.shape).copy(), np.zeros_like(skin)
        air = self._at(skin)
        nusselt, growth = self._natural(air)
        if self._any_blown:
            nusselt, growth = self._with_wind(air, nusselt, growth)
        scale = self._factor_over_diameter * air.conductivity
        coefficient = scale * nusselt
        growth = scale * growth + coefficient * air.conductivity_change
        if self._any_fixed:
            coefficient = np.where(self._is_fixed, self._fixed, coefficient)
            growth = np.where(self._is_fixed, 0.0, growth)
        return coefficient, growth

    def _natural(self, air: _Air) -> tuple[FloatArray, FloatArray]:
        per_volume = air.rayleigh_over_length_cubed
        level = sloped_churchill_chu(
            per_volume * self._diameter_cubed, air.prandtl, LEVEL_STILL, LEVEL_PRANDTL
        )
        level_growth = level.growth(air.rayleigh_change, air.prandtl_change)
        if not self._any_upright:
            return level.value, level_growth
        upright = sloped_vertical_cylinder(
            per_volume * self._length_cubed, air.prandtl, self._slenderness
        )
        growth = upright.growth(air.rayleigh_change, air.prandtl_change)
        lying = 1 - self._upright
        standing = self._upright / self._slenderness  # brings Nu from the length to the diameter
        return (
            lying * level.value + standing * upright.value,
            lying * level_growth + standing * growth,
        )

    def _with_wind(
        self, air: _Air, natural: FloatArray, natural_growth: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        film = sloped_cross_flow(self._reynolds(air), air.prandtl)
        forced = film.value * self._blown
        reynolds_change = -air.temperature_change - air.viscosity_change
        forced_growth = film.growth(reynolds_change, air.prandtl_change)
        natural_cubed = np.square(natural) * natural
        forced_cubed = np.square(forced) * forced
        fourth = natural_cubed * natural + forced_cubed * forced
        mixed: FloatArray = np.sqrt(np.sqrt(fourth))
        growth = natural_cubed * natural_growth + forced_cubed * forced_growth
        return mixed, growth * mixed / fourth

    def _reynolds(self, air: _Air) -> FloatArray:
        return (
            self._mass_flux_times_temperature * self._diameter / (air.temperature * air.viscosity)
        )

    def _at(self, skin: FloatArray) -> _Air:
        excess = skin - self._air_temperature
        # The film temperature moves by half of the skin's move.
        half_excess = 0.5 * excess
        temperature = self._air_temperature + half_excess
        value, slope = self._air.values_and_slopes(temperature.reshape(1, -1))
        value = value.reshape(3, *skin.shape)
        heat_capacity, conductivity, viscosity = value
        of_heat_capacity, of_conductivity, of_viscosity = (
            half_excess * slope.reshape(value.shape) / value
        )
        of_temperature = half_excess / temperature
        of_both = of_heat_capacity - of_conductivity
        numerator = self._buoyancy * np.abs(excess) * heat_capacity
        denominator = np.square(temperature) * temperature * (viscosity * conductivity)
        return _Air(
            temperature=temperature,
            conductivity=conductivity,
            viscosity=viscosity,
            prandtl=heat_capacity * viscosity / conductivity,
            rayleigh_over_length_cubed=numerator / denominator,
            temperature_change=of_temperature,
            conductivity_change=of_conductivity,
            viscosity_change=of_viscosity,
            prandtl_change=of_both + of_viscosity,
            # excess · d ln|excess| = 1: the 1 is the driving temperature difference itself.
            rayleigh_change=1 + (of_both - of_viscosity - 3 * of_temperature),
        )
