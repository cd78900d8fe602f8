"""From a request to the physics: all conversion of units on the way in.

A request may leave much open; what was taken instead is written down beside the converted case.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from warmbranch import case as physics
from warmbranch import closures as physics_closures
from warmbranch import geometry
from warmbranch import surroundings as physics_surroundings
from warmbranch.batch import FloatArray
from warmbranch.calibration import Calibration
from warmbranch.closures import MouthModel
from warmbranch.combustion import AIR, air_fuel_ratio, burnt_gas, humidity_from_relative
from warmbranch.constants import ICE_POINT
from warmbranch.engine import (
    Cycle,
    exhaust_mass_flow,
    firing_order,
    strongest_order,
)
from warmbranch.gas import Composition, MixtureTable
from warmbranch.main_pipe import MainPipe
from warmbranch.materials import Metal, metal
from warmbranch.surfaces import SURFACES
from warmbranch_service import calibrations
from warmbranch_service.errors import INVALID, Entry, Problem
from warmbranch_service.schemas import branch as branch_schema
from warmbranch_service.schemas import closures as closure_schema
from warmbranch_service.schemas.case import (
    ASSUMED_GAS_SPEED_M_S,
    BurntGas,
    Case,
    Engine,
    MixedGas,
)
from warmbranch_service.schemas.steady import Caution

MM = 1e-3
PER_HOUR = 1 / 3600
MOST_MASS_FLOW_KG_H = 3000.0
FOR_MASS_FLOW = ("displacement_L", "rpm", "volumetric_efficiency")


@dataclass(frozen=True)
class Converted:
    """A case in SI, the engine order, and what was taken for what the request left open.

    ``case`` has the means of a calibration where there is one, ``given`` is without them.
    """

    case: physics.Case
    given: physics.Case
    calibration: Calibration | None
    order: float | None
    assumptions: list[str] = field(default_factory=list[str])
    cautions: list[Caution] = field(default_factory=list[Caution])


class _MassFlow(NamedTuple):
    kg_s: float
    assumptions: list[str]
    cautions: list[Caution]


def kelvin(celsius: float) -> float:
    """Absolute temperature, K."""
    return celsius + ICE_POINT


def celsius(temperature: FloatArray) -> FloatArray:
    """Temperature in °C."""
    return temperature - ICE_POINT


def to_physics(case: Case) -> Converted:
    """Convert one case to a batch of one.

    Raises
    ------
    Problem
        If the mass flow that the engine gives is beyond what the model admits.
    """
    outside = case.surroundings
    gas = _gas(case)
    flow = _mass_flow(case, gas)
    pipe = case.main_pipe
    mixing = case.closures.mixing
    pulsation = (
        mixing.incident_pressure_Pa if isinstance(mixing, closure_schema.StirredMouth) else 0.0
    )
    radiant = outside.radiant_temperature_degC
    given = physics.Case(
        branch=_branch(case.branch),
        metal=_metal(case.branch.material),
        covering=_covering(case.branch),
        main_pipe=MainPipe(
            outside_diameter=_one(pipe.outside_diameter_mm * MM),
            wall_thickness=_one(pipe.wall_thickness_mm * MM),
            gas_temperature=_one(kelvin(pipe.gas_temperature_degC)),
            skin_temperature=_one(
                math.nan
                if pipe.skin_temperature_degC is None
                else kelvin(pipe.skin_temperature_degC)
            ),
            mass_flow=_one(flow.kg_s),
            emissivity=_one(_emissivity(pipe.surface, pipe.emissivity)),
            film_augmentation=_one(pipe.pulsation_augmentation),
            incident_pressure=_one(pulsation),
        ),
        gas=gas,
        surroundings=physics_surroundings.Surroundings(
            air_temperature=_one(kelvin(outside.air_temperature_degC)),
            radiant_temperature=_one(
                kelvin(outside.air_temperature_degC if radiant is None else radiant)
            ),
            pressure=_one(outside.pressure_kPa * 1e3),
            air_speed=_one(outside.air_speed_m_s),
        ),
        closures=_closures(case.closures),
    )
    learned = case.closures.calibration
    calibration = None if learned is None else calibrations.to_physics(learned)
    return Converted(
        case=given if calibration is None else calibration.applied_to(given),
        given=given,
        calibration=calibration,
        order=None if case.engine is None else _order(case.engine),
        assumptions=[*_assumptions(case), *flow.assumptions],
        cautions=flow.cautions,
    )


def _one(value: float) -> FloatArray:
    return np.array([value])


def _branch(branch: branch_schema.Branch) -> geometry.Branch:
    if branch.centreline is None:
        pieces = (geometry.Piece(branch.centreline_mm * MM),)
    else:
        pieces = tuple(
            geometry.Piece(piece.straight_mm * MM)
            if isinstance(piece, branch_schema.Straight)
            else geometry.Piece.bend(math.radians(piece.bend_deg), piece.bend_radius_mm * MM)
            for piece in branch.centreline
        )
    cap = branch.cap_thickness_mm
    return geometry.Branch(
        outside_diameter=_one(branch.outside_diameter_mm * MM),
        wall_thickness=_one(branch.wall_thickness_mm * MM),
        cap_thickness=_one((branch.wall_thickness_mm if cap is None else cap) * MM),
        pieces=(pieces,),
        rise=_one(math.radians(branch.rise_deg)),
    )


def _metal(material: str | branch_schema.MaterialProperties) -> Metal:
    if isinstance(material, str):
        return metal(material)
    return Metal.constant(
        material.conductivity_W_mK, material.density_kg_m3, material.heat_capacity_J_kgK
    )


def _emissivity(surface: str | None, emissivity: float | None) -> float:
    if emissivity is not None:
        return emissivity
    assert surface is not None, "the schema leaves one of the two"
    return SURFACES[surface].emissivity


def _covering(branch: branch_schema.Branch) -> physics_surroundings.Covering:
    wrap = branch.wrap
    return physics_surroundings.Covering(
        emissivity=_one(_emissivity(branch.surface, branch.emissivity)),
        wrap_thickness=_one(0.0 if wrap is None else wrap.thickness_mm * MM),
        wrap_conductivity=_one(1.0 if wrap is None else wrap.conductivity_W_mK),
    )


def _humidity(case: Case) -> float:
    """Water in the air that the engine draws, kg/kg of dry air."""
    outside = case.surroundings
    return float(
        humidity_from_relative(
            outside.relative_humidity_percent / 100,
            kelvin(outside.air_temperature_degC),
            outside.pressure_kPa * 1e3,
        )[0]
    )


def _gas(case: Case) -> Composition:
    gas = case.main_pipe.gas
    if isinstance(gas, MixedGas):
        return Composition.from_mole_fractions(gas.mole_fractions)
    return burnt_gas(gas.fuel, gas.excess_air_ratio, _humidity(case))


def _mass_flow(case: Case, gas: Composition) -> _MassFlow:
    """Gas through the main pipe: given, from the engine, or assumed."""
    pipe, engine = case.main_pipe, case.engine
    if pipe.mass_flow_kg_h is not None:
        return _MassFlow(pipe.mass_flow_kg_h * PER_HOUR, [], [])
    if engine is not None and all(getattr(engine, name) is not None for name in FOR_MASS_FLOW):
        return _mass_flow_of_engine(case, engine)
    hot = np.array([[kelvin(pipe.gas_temperature_degC)]])
    pressure = _one(case.surroundings.pressure_kPa * 1e3)
    density = float(MixtureTable.of(gas).density(hot, pressure)[0, 0])
    area = math.pi / 4 * (pipe.bore_mm * MM) ** 2
    flow = density * area * ASSUMED_GAS_SPEED_M_S
    text = (
        f"Nothing gives the flow in the main pipe, so a gas speed of {ASSUMED_GAS_SPEED_M_S:g} m/s "
        f"is assumed, {flow / PER_HOUR:.3g} kg/h. Give main_pipe.mass_flow_kg_h, or the engine's "
        "displacement_L, rpm and volumetric_efficiency."
    )
    caution = Caution(code="assumed_mass_flow", message=text, field="case.main_pipe.mass_flow_kg_h")
    return _MassFlow(flow, [], [caution])


def _mass_flow_of_engine(case: Case, engine: Engine) -> _MassFlow:
    gas, outside = case.main_pipe.gas, case.surroundings
    assert engine.displacement_L is not None
    assert engine.rpm is not None
    assert engine.volumetric_efficiency is not None
    intake = MixtureTable.of(burnt_gas(AIR, 1.0, _humidity(case)))
    pressure = _one(outside.pressure_kPa * 1e3)
    density = intake.density(np.array([[kelvin(outside.air_temperature_degC)]]), pressure)[:, 0]
    burns = isinstance(gas, BurntGas) and gas.fuel != AIR
    flow = float(
        exhaust_mass_flow(
            displacement=_one(engine.displacement_L * 1e-3 * engine.pipe_share),
            revolutions_per_second=_one(engine.rpm / 60),
            volumetric_efficiency=_one(engine.volumetric_efficiency),
            intake_density=density,
            stoichiometric_air_fuel_ratio=_one(
                air_fuel_ratio(gas.fuel) if isinstance(gas, BurntGas) and burns else math.inf
            ),
            excess_air_ratio=_one(gas.excess_air_ratio if isinstance(gas, BurntGas) else 1.0),
            cycle=Cycle(engine.cycle),
        )[0]
    )
    flow_kg_h = flow / PER_HOUR
    if flow_kg_h > MOST_MASS_FLOW_KG_H:
        entry = Entry(
            ("case", "engine", "displacement_L"),
            "mass_flow_out_of_range",
            f"Displacement, rpm and volumetric efficiency make {flow_kg_h:.4g} kg/h.",
            f"Give an engine that makes at most {MOST_MASS_FLOW_KG_H:g} kg/h in this pipe, or "
            "a smaller pipe_share.",
            engine.displacement_L,
            "L",
        )
        raise Problem(INVALID, entry.sentence(), entries=[entry])
    text = f"Main-pipe flow from the engine's size, speed and filling: {flow_kg_h:.3g} kg/h."
    if not burns:
        text += " No fuel is added to the air, as the gas is not given as a burnt fuel."
    return _MassFlow(flow, [text], [])


def _order(engine: Engine) -> float:
    """Engine order that the quiet rpm refers to."""
    if engine.order is not None:
        return engine.order
    cycle = Cycle(engine.cycle)
    if engine.firing_angles_deg is not None:
        return strongest_order(np.radians(np.array(engine.firing_angles_deg)), cycle)
    return firing_order(engine.cylinders, cycle)


_MOUTH_MODELS = {
    "side branch": MouthModel.SIDE_BRANCH,
    "flanged": MouthModel.FLANGED,
    "unflanged": MouthModel.UNFLANGED,
}


def _closures(given: closure_schema.Closures) -> physics_closures.Closures:
    values = {
        name: getattr(physics_closures.Closures.default(), name)
        for name in physics_closures.Closures.__dataclass_fields__
    }
    mixing, inner, outer, mouth = (
        given.mixing,
        given.inner_film,
        given.outer_film,
        given.mouth_correction,
    )
    if isinstance(mixing, closure_schema.StirredMouth):
        values["stirring"] = _one(mixing.stirring_coefficient)
        values["reach"] = _one(mixing.reach_bores)
        values["pulsation"] = _one(mixing.pulsation_coefficient)
        values["buoyancy"] = _one(mixing.buoyancy_factor)
    else:
        values["fixed_diffusivity"] = _one(mixing.diffusivity_m2_s)
    if isinstance(inner, closure_schema.LinkedFilm):
        values["stanton"] = _one(inner.stanton_number)
    else:
        values["fixed_inner_film"] = _one(inner.coefficient_W_m2K)
    if isinstance(outer, closure_schema.NaturalAndForced):
        values["outer_film_factor"] = _one(outer.factor)
    else:
        values["fixed_outer_film"] = _one(outer.coefficient_W_m2K)
    if isinstance(mouth, closure_schema.MouthByGeometry):
        values["mouth_factor"] = _one(mouth.factor)
        values["mouth_model"] = _one(float(_MOUTH_MODELS[mouth.model]))
    else:
        values["fixed_mouth_length"] = _one(mouth.length_mm * MM)
    values["wall_losses"] = np.array([given.wall_losses])
    return physics_closures.Closures(**values)


def _assumptions(case: Case) -> list[str]:
    """Sentences on what was taken for what the request left open and what matters."""
    branch, pipe, outside = case.branch, case.main_pipe, case.surroundings
    said: list[str] = []
    if "material" not in branch.model_fields_set:
        said.append(f"The branch is of {branch.material}.")
    for name, part in (("branch", branch), ("main pipe", pipe)):
        given = part.model_fields_set
        if part.surface is not None and not given & {"surface", "emissivity"}:
            emissivity = SURFACES[part.surface].emissivity
            said.append(f"The {name}'s surface is {part.surface}, emissivity {emissivity:g}.")
    if "gas" not in pipe.model_fields_set:
        said.append("The gas is that of burnt petrol without excess air.")
    if pipe.skin_temperature_degC is None:
        said.append("The main pipe's skin temperature follows from its own heat balance.")
    if "air_temperature_degC" not in outside.model_fields_set:
        said.append(f"The air is at {outside.air_temperature_degC:g} °C.")
    if "air_speed_m_s" not in outside.model_fields_set:
        said.append("The air is still.")
    if outside.radiant_temperature_degC is None:
        said.append("What the branch radiates to is as warm as the air.")
    if isinstance(case.closures.mixing, closure_schema.StirredMouth) and (
        case.closures.mixing.incident_pressure_Pa == 0
    ):
        said.append("Mixing by pulsation is left out, as no incident pressure is given.")
    learned = case.closures.calibration
    if learned is not None:
        said.append(f"A calibration stands for {', '.join(learned.unknowns) or 'nothing'}.")
    if case.engine is not None and case.engine.order is None:
        said.append(f"The engine order to be quietened is {_order(case.engine):g}.")
    return said
