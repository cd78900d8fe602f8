"""Calculators for bodies that warm up."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from closed_forms import lumped_time_constant
from warmbranch.base.constants import ICE_POINT
from warmbranch.case.case import Case
from warmbranch.case.closures import Closures
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import Metal
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.gas import Composition
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up


def sphere_time_constant(*, diameter_m, density_kg_m3, heat_capacity_J_kgK, film_W_m2K):
    volume, area = math.pi / 6 * diameter_m**3, math.pi * diameter_m**2
    return lumped_time_constant(density_kg_m3, heat_capacity_J_kgK, volume, film_W_m2K * area)


def time_to(*, start_degC, gas_degC, end_degC, time_constant_s):
    return time_constant_s * math.log((start_degC - gas_degC) / (end_degC - gas_degC))


def wall_time_constant(
    *, outside_diameter_m, wall_m, volumetric_heat_J_m3K, inner_film_W_m2K, outer_film_W_m2K
):
    bore = outside_diameter_m - 2 * wall_m
    section = math.pi / 4 * (outside_diameter_m**2 - bore**2)
    conductance = math.pi * (inner_film_W_m2K * bore + outer_film_W_m2K * outside_diameter_m)
    return lumped_time_constant(volumetric_heat_J_m3K, 1.0, section, conductance)


def wall_temperature(
    *,
    outside_diameter_m,
    wall_m,
    volumetric_heat_J_m3K,
    inner_film_W_m2K,
    outer_film_W_m2K,
    gas_degC,
    air_degC,
    time_s,
):
    """Half way along a branch whose gas is mixed to one temperature and whose metal insulates."""
    air = air_degC + ICE_POINT
    case = Case(
        branch=Branch(outside_diameter_m, wall_m, wall_m, ((Piece(1.0),),), 0.0),
        metal=Metal.constant(1e-9, volumetric_heat_J_m3K / 500, 500.0),
        covering=Covering(0.0, 0.0, 1.0),
        main_pipe=MainPipe(
            outside_diameter_m, wall_m, gas_degC + ICE_POINT, math.nan, 0.02, 0.0, 1.0, 0.0, 0.0
        ),
        gas=Composition.dry_air(),
        surroundings=Surroundings(air, air, 101325.0, 0.0),
        closures=replace(
            Closures.default(),
            mouth_exchange=np.array([np.inf]),
            fixed_diffusivity=np.array([1e6]),
            fixed_inner_film=np.array([inner_film_W_m2K]),
            fixed_outer_film=np.array([outer_film_W_m2K]),
        ),
    )
    found = warm_up(case, Drive(time_s), np.array([time_s]), tolerance=1e-4)
    return float(found.wall[0, -1, 80]) - ICE_POINT


CALCULATORS = {
    "time constant of a sphere": sphere_time_constant,
    "time of a lumped body to a temperature": time_to,
    "time constant of a wall with two sides": wall_time_constant,
    "temperature of a wall with two sides, by the solver": wall_temperature,
}
