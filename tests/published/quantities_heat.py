"""Calculators for convection, radiation, fins and metals."""

from __future__ import annotations

import math

import numpy as np

from closed_forms import Fin, fin_base_heat, fin_excess_ratio
from warmbranch.base.constants import ICE_POINT, STANDARD_PRESSURE
from warmbranch.case.materials import metal
from warmbranch.case.surroundings import Surroundings
from warmbranch.gas.emissivity import total_emissivity
from warmbranch.gas.gas import dry_air_table
from warmbranch.heat.films import OutsideFilm
from warmbranch.heat.nusselt import (
    nusselt_cross_flow,
    nusselt_horizontal_cylinder_natural,
    nusselt_pipe,
    nusselt_pipe_turbulent,
    nusselt_vertical_cylinder_natural,
    nusselt_vertical_plate_natural,
)
from warmbranch.heat.radiation import radiative_flux


def of_numbers(function):
    """A correlation as a function of plain numbers."""
    return lambda **inputs: float(
        function(**{name: np.array(value) for name, value in inputs.items()})
    )


def film_coefficient(
    *, outside_diameter_m, skin_degC, air_degC, air_speed_m_s=0.0, pressure_Pa=STANDARD_PRESSURE
):
    """Of a level pipe in dry air, W/(m² K), through the film that the solver uses."""
    surroundings = Surroundings(
        air_temperature=air_degC + ICE_POINT,
        radiant_temperature=air_degC + ICE_POINT,
        pressure=pressure_Pa,
        air_speed=air_speed_m_s,
    )
    film = OutsideFilm(
        dry_air_table(),
        surroundings,
        outside_diameter=np.array([outside_diameter_m]),
        length=np.array([1.0]),
        rise=np.array([0.0]),
        factor=np.array([1.0]),
        fixed=np.array([math.nan]),
    )
    return float(film.coefficient(np.array([[skin_degC + ICE_POINT]]))[0, 0])


def convection_loss(*, outside_diameter_m, skin_degC, air_degC, length_m=1.0, **others):
    film = film_coefficient(
        outside_diameter_m=outside_diameter_m, skin_degC=skin_degC, air_degC=air_degC, **others
    )
    return film * math.pi * outside_diameter_m * length_m * (skin_degC - air_degC)


def radiation_loss(*, outside_diameter_m, skin_degC, surroundings_degC, emissivity, length_m=1.0):
    flux, _ = radiative_flux(
        np.array(skin_degC + ICE_POINT),
        np.array(surroundings_degC + ICE_POINT),
        np.array(emissivity),
    )
    return float(flux) * math.pi * outside_diameter_m * length_m


def total_loss(*, outside_diameter_m, skin_degC, air_degC, emissivity):
    return convection_loss(
        outside_diameter_m=outside_diameter_m, skin_degC=skin_degC, air_degC=air_degC
    ) + radiation_loss(
        outside_diameter_m=outside_diameter_m,
        skin_degC=skin_degC,
        surroundings_degC=air_degC,
        emissivity=emissivity,
    )


def rod(*, diameter_m, conductivity, film, length_m):
    return Fin(film, math.pi * diameter_m, math.pi * diameter_m**2 / 4, length_m, conductivity)


def tube(*, outside_diameter_m, wall_m, conductivity, film, length_m):
    bore = outside_diameter_m - 2 * wall_m
    area = math.pi / 4 * (outside_diameter_m**2 - bore**2)
    return Fin(film, math.pi * outside_diameter_m, area, length_m, conductivity)


def rod_temperature(*, x_m, base_excess_K, **shape):
    return base_excess_K * float(fin_excess_ratio(rod(**shape), np.array([x_m]))[0])


def tube_temperature(*, x_m, base_excess_K, **shape):
    return base_excess_K * float(fin_excess_ratio(tube(**shape), np.array([x_m]))[0])


def metal_conductivity(*, name, temperature_degC):
    return float(metal(name).conductivity(np.array([[temperature_degC + ICE_POINT]]))[0, 0])


def gas_emissivity(*, temperature_K, water_atm, carbon_dioxide_atm, pressure_atm, path_m):
    bar = STANDARD_PRESSURE / 1e5
    given = (temperature_K, water_atm * bar, carbon_dioxide_atm * bar, pressure_atm * bar)
    return float(total_emissivity(*map(np.array, given), np.array(100 * path_m)))


CALCULATORS = {
    "Nusselt number, level cylinder, natural": of_numbers(nusselt_horizontal_cylinder_natural),
    "Nusselt number, vertical plate, natural": of_numbers(nusselt_vertical_plate_natural),
    "Nusselt number, vertical cylinder, natural": of_numbers(nusselt_vertical_cylinder_natural),
    "Nusselt number, cross flow": of_numbers(nusselt_cross_flow),
    "Nusselt number, pipe, turbulent": of_numbers(nusselt_pipe_turbulent),
    "Nusselt number, pipe": of_numbers(nusselt_pipe),
    "film coefficient of a level pipe in air": film_coefficient,
    "convection from a level pipe in air": convection_loss,
    "radiation from a pipe": radiation_loss,
    "convection and radiation from a level pipe in air": total_loss,
    "temperature along a rod": rod_temperature,
    "temperature along a tube": tube_temperature,
    "heat into a rod": lambda *, base_excess_K, **shape: fin_base_heat(rod(**shape), base_excess_K),
    "conductivity of a metal": metal_conductivity,
    "total emissivity of a gas": gas_emissivity,
}
