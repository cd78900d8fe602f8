"""The steady heat balance of gas, wall and skin on the grid, and its exact linearisation.

Control volumes stand round the nodes; fluxes pass through the faces between them, so that what
leaves one volume enters the next and heat is conserved to rounding. Node 0 is the mouth, where
the wall's temperature is given and heat comes from the main pipe's gas through the mouth's
resistance; the last node carries the cap.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.case.case import Case
from warmbranch.gas.gas import GasState, MixtureTable
from warmbranch.heat.counterflow import counterflow_of
from warmbranch.heat.inner_film import InnerFilm
from warmbranch.heat.linearised import (
    AtFaces,
    Carried,
    Condensing,
    Linearised,
    divergence,
    face_mean,
)
from warmbranch.heat.outside import Outside
from warmbranch.heat.radiation import gas_exchange
from warmbranch.heat.sections import Sections, control_widths, sections
from warmbranch.heat.vapour import condensing


@dataclass(frozen=True)
class HeatBalance:
    """Geometry, films and mixing of a batch, ready to be balanced at any temperatures.

    Parameters
    ----------
    case : Case
        The batch.
    gas, air : MixtureTable
        Gas inside (one mixture a design) and air outside (one mixture).
    x : (designs, nodes) array, m
    forced_diffusivity : (designs, nodes) array, m²/s
        Stirring and pulsation, which do not depend on the branch's temperatures; or the fixed
        diffusivity that replaces all mixing.
    mouth_resistance : (designs,) array, K/W
        Between the main pipe's gas and the gas just inside the mouth.
    main_gas : (designs,) array, K
        Temperature of the main pipe's gas.
    """

    case: Case
    gas: MixtureTable
    air: MixtureTable
    x: FloatArray
    forced_diffusivity: FloatArray
    mouth_resistance: FloatArray
    main_gas: FloatArray

    def take(self, index: BoolArray | NDArray[np.intp]) -> HeatBalance:
        """The balance of some of the designs."""
        chosen = np.arange(len(self.case))[index]
        return HeatBalance(
            self.case.take(chosen),
            self.gas.take(chosen),
            self.air,
            self.x[chosen],
            self.forced_diffusivity[chosen],
            self.mouth_resistance[chosen],
            self.main_gas[chosen],
        )

    @cached_property
    def spacing(self) -> FloatArray:
        """Distance between neighbouring nodes, (designs, faces), m."""
        return self.x[:, 1:] - self.x[:, :-1]

    @cached_property
    def width(self) -> FloatArray:
        """Length of each control volume, (designs, nodes), m."""
        return control_widths(self.x)

    @cached_property
    def sections(self) -> Sections:
        """Surfaces and sections on the grid."""
        return sections(self.case.branch, self.case.covering, self.x)

    @cached_property
    def bore_surface(self) -> FloatArray:
        """Inner surface of each control volume, the cap's left out, m²."""
        return self.sections.bore_surface

    @cached_property
    def buoyancy(self) -> FloatArray:
        """Strength of the buoyant counterflow; 0 where mixing is fixed, (designs,)."""
        closures = self.case.closures
        return np.where(np.isnan(closures.fixed_diffusivity), closures.buoyancy, 0.0)

    @cached_property
    def skin_area(self) -> FloatArray:
        """Outer surface of each control volume, over the wrap if any, the cap's included, m²."""
        return self.sections.skin_area

    @cached_property
    def is_bare(self) -> bool:
        """Whether no design has a wrap."""
        return not self.case.covering.wrap_thickness.any()

    @cached_property
    def wrap_conductance(self) -> FloatArray:
        """From wall to skin, W/K; infinite where the tube is bare."""
        return self.sections.wrap_conductance

    @cached_property
    def _outside(self) -> Outside:
        """What is around the skin."""
        return Outside(self.case, self.air, self.x, self.width, self.skin_diameter, self.skin_area)

    @cached_property
    def _inner_film(self) -> InnerFilm:
        """Between gas and wall."""
        return InnerFilm(
            self.case,
            self.forced_diffusivity,
            self._density_times_temperature,
            self._bore,
            self.bore_surface,
            self._cap_area,
        )

    def linearise(self, gas: FloatArray, wall: FloatArray, skin: FloatArray) -> Linearised:
        """Residuals and slopes at the given temperatures, each (designs, nodes), K."""
        carried = self._carried(gas)
        state, (volumetric, volumetric_slope) = carried.state, carried.volumetric
        exchange, given_left, given_here, given_right = carried.exchange
        gradient, mixed, buoyant = carried.gradient, carried.mixed, carried.buoyant

        # Gas: conduction and mixing through the faces, exchange with the wall.
        volumetric_face = face_mean(volumetric)
        conductivity = face_mean(state.conductivity) + volumetric_face * mixed
        own_left = (state.conductivity_slope[:, :-1] + volumetric_slope[:, :-1] * mixed) / 2
        own_right = (state.conductivity_slope[:, 1:] + volumetric_slope[:, 1:] * mixed) / 2
        if buoyant is not None:
            own_left += volumetric_face * buoyant.left
            own_right += volumetric_face * buoyant.right
        fall = -self._bore_area * gradient
        through = self._bore_area_by_spacing * conductivity
        flux = fall * conductivity
        flux_left, flux_right = fall * own_left + through, fall * own_right - through
        excess = gas - wall
        given = exchange * excess
        given_left, given_right = given_left * excess, given_right * excess
        given_here, taken_here = given_here * excess + exchange, exchange
        if self._radiating is not None:
            radiated, by_gas, by_wall = gas_exchange(self._radiating, gas, wall)
            given = given + self._radiating_surface * radiated
            given_here = given_here + self._radiating_surface * by_gas
            taken_here = exchange + self._radiating_surface * by_wall

        # Wall: conduction through the faces.
        steel = face_mean(wall)
        metal = self.case.metal
        wall_fall = self._wall_area_by_spacing * (wall[:, :-1] - wall[:, 1:])
        wall_conductivity = metal.conductivity(steel)
        bent = wall_fall * metal.conductivity_slope(steel) / 2
        wall_through = self._wall_area_by_spacing * wall_conductivity
        wall_flux = wall_fall * wall_conductivity
        wall_flux_left, wall_flux_right = bent + wall_through, bent - wall_through

        outwards, outwards_slope = self._outside.flux(skin)
        leaving, left, here, right = divergence(flux, flux_left, flux_right)
        wall_leaving, wall_left, wall_here, wall_right = divergence(
            wall_flux, wall_flux_left, wall_flux_right
        )
        system = Linearised(
            gas=leaving + given,
            gas_left=left + given_left,
            gas_here=here + given_here,
            gas_right=right + given_right,
            gas_wall=-taken_here,
            wall=wall_leaving - given,
            wall_left=wall_left,
            wall_here=wall_here + taken_here,
            wall_right=wall_right,
            wall_gas_left=-given_left,
            wall_gas_here=-given_here,
            wall_gas_right=-given_right,
            skin_loss=self.skin_area * outwards,
            skin_slope=self.skin_area * outwards_slope,
            wrap_conductance=self.wrap_conductance,
            wall_over_skin=wall - skin,
            mouth_resistance=self.mouth_resistance,
            mouth_fall=self.main_gas - gas[:, 0],
            bare=self.is_bare,
        )
        wet = self.condensing(gas, wall, carried)
        return system if wet is None else system.warmed_by(wet)

    def condensing(
        self,
        gas: FloatArray,
        wall: FloatArray,
        carried: Carried | None = None,
        dried: FloatArray | None = None,
    ) -> Condensing | None:
        """What condenses at the given temperatures; None where the gas stays as it is."""
        carried = carried or self._carried(gas)
        along = self._bore_area_by_spacing
        ends = self.main_gas, self.mouth_resistance
        return condensing(self.case, self.gas, carried, (gas, wall), along, *ends, dried)

    def _carried(self, gas: FloatArray) -> Carried:
        value, slope = self.gas.values_and_slopes(gas)
        state = GasState(*value, *slope)
        volumetric = self._volumetric_heat_capacity(state, gas)
        gradient = (gas[:, 1:] - gas[:, :-1]) / self.spacing
        buoyant, scraping = self._counterflow(state, slope, gas, gradient)
        mixed = self._forced_face if buoyant is None else self._forced_face + buoyant.value
        exchange = self._inner_film.exchange(gas, state, *volumetric, buoyant, scraping)
        return Carried(state, volumetric, gradient, mixed, buoyant, exchange)

    @cached_property
    def has_buoyancy(self) -> bool:
        """Whether any design mixes by buoyancy."""
        return bool(np.any(self.buoyancy))

    @cached_property
    def _bore(self) -> FloatArray:
        return self.sections.bore

    @cached_property
    def _bore_area(self) -> FloatArray:
        return self.sections.bore_area

    @cached_property
    def _cap_area(self) -> FloatArray:
        return self.sections.cap_area[:, None]

    @cached_property
    def _wall_area(self) -> FloatArray:
        return self.sections.wall_area

    @cached_property
    def _bore_area_by_spacing(self) -> FloatArray:
        return self._bore_area / self.spacing

    @cached_property
    def _wall_area_by_spacing(self) -> FloatArray:
        return self._wall_area / self.spacing

    @cached_property
    def _radiating(self) -> FloatArray | None:
        """Coefficients of the gas's radiation; None where all gases are transparent."""
        coefficients = self.case.radiation_coefficients
        return coefficients if np.any(coefficients) else None

    @cached_property
    def _radiating_surface(self) -> FloatArray:
        """Inner surface of each control volume, the cap's included, m²."""
        surface = self.bore_surface.copy()
        surface[:, -1:] += self._cap_area
        return surface

    @cached_property
    def _density_times_temperature(self) -> FloatArray:
        """p/R of the ideal gas, kg K/m³."""
        return (self.case.surroundings.pressure / self.gas.gas_constant)[:, None]

    @cached_property
    def _forced_face(self) -> FloatArray:
        # Stirring decays exponentially from the mouth, and of such numbers the geometric mean
        # is the one midway.
        return np.sqrt(self.forced_diffusivity[:, :-1] * self.forced_diffusivity[:, 1:])

    @cached_property
    def skin_diameter(self) -> FloatArray:
        """Outside diameter over the wrap, if any, (designs, 1), m; (designs, nodes) if stepped."""
        return self.sections.skin_diameter

    def _volumetric_heat_capacity(
        self, state: GasState, gas: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """ρ c_p of an ideal gas at the ambient pressure, J/(m³ K), and its slope."""
        density = self._density_times_temperature / gas
        value = density * state.heat_capacity
        return value, density * state.heat_capacity_slope - value / gas

    def _counterflow(
        self,
        state: GasState,
        slopes: FloatArray,
        gas: FloatArray,
        gradient: FloatArray,
    ) -> tuple[AtFaces, AtFaces] | tuple[None, None]:
        """By buoyancy, at the faces: mixing along, and at the wall."""
        if not self.has_buoyancy:
            return None, None
        temperature = face_mean(gas)
        found = counterflow_of(
            [face_mean(part) for part in state[:3]],
            slopes,
            temperature,
            self._density_times_temperature / temperature,
            gradient,
            self.sections.face_bore,
            self.case.branch.rise,
            self.buoyancy,
        )
        along = AtFaces.of(found.along, self.spacing)
        if found.at_wall is found.along:
            return along, along
        return along, AtFaces.of(found.at_wall, self.spacing)
