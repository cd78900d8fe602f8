"""Calculators for whole branches, with the closures at their defaults."""

from __future__ import annotations

import math

import numpy as np

from warmbranch.base.constants import ICE_POINT, STANDARD_PRESSURE
from warmbranch.case.case import Case
from warmbranch.case.closures import (
    CAP_PRESSURE,
    PULSATION_AUGMENTATION,
    REACH,
    STIRRING,
    Closures,
    at_mouth,
)
from warmbranch.case.engine import engine_speed
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import metal
from warmbranch.case.surfaces import surface
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.main_pipe_gas import Flow, gas_temperature
from warmbranch.sound.resonance import one_temperature_estimate
from warmbranch.steady.solve import solve


def rpm(frequency: float, order: float) -> float:
    return 60 * float(engine_speed(np.array(frequency), np.array(order)))


def quiet_rpm_by_skin(
    *,
    length_m,
    outside_diameter_m,
    wall_m,
    main_outside_diameter_m,
    main_wall_m,
    skin_degC,
    mass_flow_kg_h,
    order,
    air_degC,
    air_speed_m_s,
):
    """Level, bare, weathered stainless 304 and stoichiometric petrol gas, as hot as keeps the main
    pipe's skin at what was read."""
    emissivity = surface("weathered stainless").emissivity
    air = np.array([air_degC + ICE_POINT])
    skin = np.array([skin_degC + ICE_POINT])
    case = Case(
        Branch(outside_diameter_m, wall_m, wall_m, ((Piece(length_m),),), 0.0),
        metal("stainless 304"),
        Covering(emissivity, 0.0, 1.0),
        MainPipe(
            main_outside_diameter_m,
            main_wall_m,
            skin,
            math.nan,
            mass_flow_kg_h / 3600,
            emissivity,
            PULSATION_AUGMENTATION.median,
            0.0,
            CAP_PRESSURE.median,
        ),
        burnt_gas("petrol", 1.0),
        Surroundings(air, air, STANDARD_PRESSURE, air_speed_m_s),
        Closures.default(),
    )
    pipe, gas = case.main_pipe, MixtureTable.of(case.gas)
    flow = Flow(case.surroundings.pressure, np.array([math.nan]))
    hot = gas_temperature(skin, pipe, gas, case.surroundings, dry_air_table(), flow)
    case = case.changed(main_pipe=pipe.changed(gas_temperature=hot))
    return rpm(solve(case).resonance[0, 0], order)


def one_temperature_rpm(*, length_m, gas_degC, order):
    estimate = one_temperature_estimate(np.array([length_m]), np.array([gas_degC + ICE_POINT]))
    return rpm(estimate[0], order)


def stirred_bores():
    """Where ``D = C_m U d exp(−x/(Λ d))`` is 0.001 U d, by the median closures."""
    strength = at_mouth(np.array(STIRRING.median), np.array(REACH.median))
    return REACH.median * math.log(float(strength) / 1e-3)


CALCULATORS = {
    "bores until stirring is a thousandth of the main flow's": stirred_bores,
    "quiet rpm of a branch by the main pipe's skin": quiet_rpm_by_skin,
    "quiet rpm by one temperature": one_temperature_rpm,
}
