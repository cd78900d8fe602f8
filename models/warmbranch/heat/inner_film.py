"""What the gas gives to the wall by convection, and how that answers to the gas's temperatures."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.case.case import Case
from warmbranch.gas.gas import GasState
from warmbranch.heat.counterflow import SCRAPING, TINY
from warmbranch.heat.linearised import AtFaces, node_mean, shared_slopes


@dataclass(frozen=True)
class InnerFilm:
    """Films between the gas and the wall of a batch; the same in C: core/heat_balance.c.

    Parameters
    ----------
    case : Case
        For its closures.
    forced : (designs, nodes) array, m²/s
        Mixing that does not depend on the branch's temperatures.
    density_times_temperature : (designs, 1) array, kg K/m³
        p/R of the ideal gas.
    bore : (designs, 1) or (designs, nodes) array, m
    surface : (designs, nodes) array, m²
        Inner surface of each control volume, the cap's left out.
    cap_area : (designs, 1) array, m²
    """

    case: Case
    forced: FloatArray
    density_times_temperature: FloatArray
    bore: FloatArray
    surface: FloatArray
    cap_area: FloatArray

    def exchange(
        self,
        gas: FloatArray,
        state: GasState,
        volumetric: FloatArray,
        volumetric_slope: FloatArray,
        buoyant: AtFaces | None,
        scraping: AtFaces | None,
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Film times surface, W/K, at the nodes; its slopes to left, own and right node.

        The film is ``(Nu_0 + B √((D + β² E)/ν)) k/d + St* ρ c_p D_mix/d``, with the forced mixing D
        and what of the counterflow scrapes the wall, E, under the root. On the cap's plate the
        counterflow, which must turn there, adds nothing.
        """
        bore, forced = self.bore, self.forced
        conductivity, conductivity_slope = state.conductivity, state.conductivity_slope
        nusselt, own_slope = self._still_nusselt, self._still_nusselt * conductivity_slope
        left = right = np.zeros_like(gas)
        cap_nusselt, cap_slope = nusselt, own_slope[:, -1:]
        if self._stirs_film:
            # √(D/ν), ν = μ T/(p/R), and its slopes.
            strength = self.case.closures.stirred_film[:, None]
            per_viscosity = self.density_times_temperature / (gas * state.viscosity)
            falls = -(1 / gas + state.viscosity_slope / state.viscosity) / 2
            root = strength * np.sqrt(forced * per_viscosity)
            cap = root[:, -1:]
            cap_nusselt = nusselt + cap
            cap_slope = (
                cap_nusselt * conductivity_slope[:, -1:] + cap * (falls * conductivity)[:, -1:]
            )
            if scraping is None:
                nusselt = nusselt + root
                own_slope = nusselt * conductivity_slope + root * falls * conductivity
            else:
                root = np.sqrt((forced + SCRAPING**2 * node_mean(scraping.value)) * per_viscosity)
                nusselt = nusselt + strength * root
                own_slope = nusselt * conductivity_slope + strength * root * falls * conductivity
                by_mixing = strength * SCRAPING**2 * per_viscosity / (2 * root + TINY)
                by_mixing *= conductivity * self._share_of_face
                left, here, right = shared_slopes(by_mixing, scraping)
                own_slope += here
        film, here = nusselt * conductivity / bore, own_slope / bore
        left, right = left / bore, right / bore
        cap, cap_slope = cap_nusselt * conductivity[:, -1:] / bore[:, -1:], cap_slope / bore[:, -1:]
        if self._mixing_films is not None:
            scaled, scaled_slope = (
                self._mixing_films * value for value in (volumetric, volumetric_slope)
            )
            cap = cap + scaled[:, -1:] * forced[:, -1:]
            cap_slope = cap_slope + scaled_slope[:, -1:] * forced[:, -1:]
            mixed = forced if buoyant is None else forced + node_mean(buoyant.value)
            film, here = film + scaled * mixed, here + scaled_slope * mixed
            if buoyant is not None:
                more = shared_slopes(scaled * self._share_of_face, buoyant)
                left, here, right = left + more[0], here + more[1], right + more[2]
        if self._fixed_film is not None:
            fixed, is_fixed = self._fixed_film
            film, cap = (np.where(is_fixed, fixed, value) for value in (film, cap))
            left, here, right, cap_slope = (
                np.where(is_fixed, 0.0, slope) for slope in (left, here, right, cap_slope)
            )
        surface = self.surface
        exchange, here = film * surface, here * surface
        exchange[:, -1:] += cap * self.cap_area
        here[:, -1:] += cap_slope * self.cap_area
        return exchange, left * surface, here, right * surface

    @cached_property
    def _still_nusselt(self) -> FloatArray:
        return self.case.closures.still_nusselt[:, None]

    @cached_property
    def _stirs_film(self) -> bool:
        return bool(self.case.closures.stirred_film.any())

    @cached_property
    def _mixing_films(self) -> FloatArray | None:
        """St*/d, 1/m; None where no design's film goes with the mixing."""
        stanton = self.case.closures.stanton[:, None]
        return stanton / self.bore if stanton.any() else None

    @cached_property
    def _share_of_face(self) -> FloatArray:
        """Of each face in its node's mean, (nodes,)."""
        share = np.full(self.surface.shape[1], 0.5)
        share[[0, -1]] = 1.0
        return share

    @cached_property
    def _fixed_film(self) -> tuple[FloatArray, BoolArray] | None:
        fixed = self.case.closures.fixed_inner_film[:, None]
        given = ~np.isnan(fixed)
        return (fixed, given) if np.any(given) else None
